"""What one frame is made from, as a plain value that crosses process borders."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from keyturn.flatten.figures import Placed

Box = tuple[float, float, float, float]
"""A stretch of a picture: left, top, right, bottom, in its pixels."""


@dataclass(frozen=True, slots=True)
class Source:
    """What a frame is made from: a still, or frame `index` of a clip, and what is done with it.

    `name` is its path in the drop. Without a `path` there is the background alone. `view` is the stretch of a
    still that fills the panel, in its pixels; `backdrop` a still under it; `figures` lie on it; of `into`,
    another picture, the share given is seen.
    """

    path: Path | None
    name: str
    index: int | None = None
    view: Box | None = None
    backdrop: tuple[Path, str] | None = None
    figures: tuple[Placed, ...] = ()
    into: tuple[Source, float] | None = None
