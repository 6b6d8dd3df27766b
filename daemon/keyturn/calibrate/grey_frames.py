"""A film's frames in grey, upright, each with its own time: what the screen is looked for in.

It must run in a worker, for a film is untrusted and a C library reads it (see `normalize.reading.films`).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from keyturn.normalize.reading import film_colour, film_completeness, films, kinds, picture_faults, pillow_limits
from keyturn.normalize.reading.film_decoding import FilmPass, told_as_broken
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Intake

if TYPE_CHECKING:
    from av.video.frame import VideoFrame
    from av.video.reformatter import VideoReformatter

LONGEST_SIDE = 1280
"""Larger films are read at this size, in px: at a quarter of the height of one of 1280 x 720, a cell has four px."""

MOST_FRAMES = 9000
"""Frames that a film may have: five minutes at 30 a second. Decoding and reading take 5 to 15 ms each."""


@dataclass(frozen=True, slots=True)
class GreyFrame:
    """A film frame: its time in seconds after the first, and its light [y, x] in levels of 255."""

    at_s: float
    grey: NDArray[np.uint8]


def of(path: Path, name: str, intake: Intake) -> Iterator[GreyFrame]:
    """Yield the film's frames in order.

    Raise `Refused`, with `name`, where it is no film, is not taken or is damaged; OSError for the shop's disk.
    """
    with pillow_limits.reading(name, intake.caps.clip_mpx), path.open("rb") as file:
        kind = kinds.of(file.read(512))
        if kind not in kinds.FILMS or kind not in intake.formats.clips:
            taken = tuple(each for each in intake.formats.clips if each in kinds.FILMS)
            raise Refused([picture_faults.not_taken(kind or "no film", taken)])
        films.require_av()
        film_completeness.check(file, kind)
        with told_as_broken(), closing(FilmPass(file, kind, intake)) as film:
            yield from _grey_frames(film)


def _grey_frames(film: FilmPass) -> Iterator[GreyFrame]:
    from av.video.reformatter import VideoReformatter

    tick = Fraction(film.stream.time_base or 1)
    reformatter, turn, first, last = VideoReformatter(), 1, None, None
    for number, frame in enumerate(film.frames()):
        if number == MOST_FRAMES:
            raise Refused([picture_faults.too_long(MOST_FRAMES)])
        if frame.pts is None or frame.is_corrupt or (last is not None and frame.pts <= last):
            continue  # it has no picture or no time that could be trusted
        if first is None:
            first, turn = frame.pts, film_colour.turn(films.display_matrix(frame))
        last = frame.pts
        yield GreyFrame(float((last - first) * tick), upright(_light(frame, reformatter), turn))
    if first is None:
        raise Broken("holds no frames")


def _light(frame: VideoFrame, reformatter: VideoReformatter) -> NDArray[np.uint8]:
    """Return the frame's light, made smaller where it is larger than `LONGEST_SIDE`."""
    scale = min(1.0, LONGEST_SIDE / max(frame.width, frame.height))
    size = max(2, round(frame.width * scale)), max(2, round(frame.height * scale))
    made = reformatter.reformat(frame, *size, format="gray8", threads=1, interpolation="AREA")
    plane = made.planes[0]
    rows = np.frombuffer(bytes(plane), np.uint8).reshape(-1, plane.line_size)
    return np.array(rows[: size[1], : size[0]])


def upright(grey: NDArray[np.uint8], turn: int) -> NDArray[np.uint8]:
    """Return the picture turned as EXIF's orientation `turn` says (CIPA DC-008, tag 274)."""
    if turn >= 5:
        grey = grey.T
    across = turn in (2, 3, 6, 7)
    down = turn in (3, 4, 7, 8)
    return np.ascontiguousarray(grey[:: -1 if down else 1, :: -1 if across else 1])
