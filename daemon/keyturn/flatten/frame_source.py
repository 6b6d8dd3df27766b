"""What one frame is made from, as a plain value that crosses process borders."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from keyturn.flatten.figures import Placed

Box = tuple[float, float, float, float]
"""A part of a picture: left, top, right, bottom, in its pixels."""


@dataclass(frozen=True, slots=True)
class Source:
    """What a frame is made from: the still at `path`, or picture `index` of the clip there.

    Without a `path` the frame is the background alone. `name` is the file's path in the drop. `view` is the part of a
    still that fills the panel, `cell` the part that is the whole picture: a frame of a sheet. `backdrop` is the path
    and name of a still under it. `figures` are drawn on it. `into` is a picture that is mixed in, and its share (0 to
    1).
    """

    path: Path | None
    name: str
    index: int | None = None
    view: Box | None = None
    cell: tuple[int, int, int, int] | None = None
    backdrop: tuple[Path, str] | None = None
    figures: tuple[Placed, ...] = ()
    into: tuple[Source, float] | None = None

    @property
    def still(self) -> Path | None:
        """The still, where the frame is nothing but one; None for frames of clips and drawn frames."""
        return self.path if self == Source(self.path, self.name) else None
