"""Clips: GIF, APNG, animated WebP and films as full frames, and the frames shown at a constant rate.

GIF and APNG cels are decoded one at a time as stills of their own and laid over each other here, by the rules of
their specifications: Pillow's own frame reader guesses at disposals, at colours after the first palette and at
pictures outside the animation. WebP frames come composed from libwebp, those of films from FFmpeg.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections.abc import Sequence
from contextlib import AbstractContextManager
from fractions import Fraction
from itertools import accumulate
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

from PIL import Image, ImageFile

from keyturn.normalize.reading import clip_frames, kinds, pillow_limits, stills
from keyturn.normalize.reading.clip_frames import Cel, ClipStructure
from keyturn.normalize.reading.films import Film
from keyturn.normalize.reading.probe import Probe
from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Intake

CLEAR = (0, 0, 0, 0)


def is_clip(probe: Probe) -> bool:
    return probe.frames > 1


class Clip:
    """An open clip. `size` is that of every frame; `durations_ms` as shown, see `clip_frames.shown_ms`.

    Frames in order cost one cel each; going back starts again from the first. Cels that a later one hides completely
    are skipped, so a worker decodes little more than the frames it needs.
    Opening and reading raise `Refused` where the clip is broken or too large, OSError for the shop's disk.
    """

    def __init__(self, path: Path, intake: Intake, name: str) -> None:
        self._intake, self._name = intake, name
        self._file: BinaryIO = path.open("rb")
        try:
            with self._reading():
                self._film = self._filmed()
                if self._film is None:
                    self._structure = self._walked()
                    self._composer = self._new_composer()
        except BaseException:
            self._file.close()
            raise
        self.size = self._film.size if self._film else self._structure.size
        self.durations_ms = self._film.durations_ms if self._film else clip_frames.shown_ms(self._structure.cels)
        self.frames = len(self.durations_ms)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        if self._film:
            self._film.close()
        self._file.close()

    def frame(self, index: int) -> Image.Image:
        """Return frame `index`, from 0, as RGBA on the full canvas, its EXIF and colour profile in `info`.

        A film without alpha gives RGB. Raise IndexError for a frame that the clip does not have.
        """
        if not 0 <= index < self.frames:
            raise IndexError(f"{self._name} has frames 0 to {self.frames - 1}, not {index}")
        with self._reading():
            if self._film:
                return self._film.frame(index)
            if index < self._composer.next_index - 1:
                self._composer = self._new_composer()
            self._composer.skip_to(index)
            while self._composer.next_index <= index:
                self._composer.advance()
            return self._composer.picture()

    def _reading(self) -> AbstractContextManager[None]:
        return pillow_limits.reading(self._name, self._intake.caps.clip_mpx)

    def _filmed(self) -> Film | None:
        self._file.seek(0)
        kind = kinds.of(self._file.read(512))
        taken = kind in kinds.FILMS and kind in self._intake.formats.clips
        return Film(self._file, kind, self._intake) if taken else None

    def _walked(self) -> ClipStructure:
        structure = stills.walked(self._file, self._intake)
        stills.opened(self._file, self._intake)  # raises `Refused` beyond the limits, or for a kind that is not taken
        if structure is None or not structure.cels:
            raise Refused([refuse("clip-still", "does not move", "use it as a still")])
        return structure

    def _new_composer(self) -> _CelComposer | _WebpComposer:
        if self._structure.format == "WEBP":
            return _WebpComposer(self._file, self._intake)
        return _CelComposer(self._file, self._structure, self._intake)


class _CelComposer:
    """Lays GIF and APNG cels over each other.

    Cleared areas become transparent in both formats. The GIF specification would fill them with a
    background colour; no browser does (common practice), and neither do the artist's own previews.
    """

    def __init__(self, file: BinaryIO, structure: ClipStructure, intake: Intake) -> None:
        self._file, self._structure, self._intake = file, structure, intake
        self._canvas = Image.new("RGBA", structure.size, CLEAR)
        self._under: Image.Image | None = None
        self._profile: bytes | None = None
        self.next_index = 0

    def advance(self) -> None:
        """Lay the next cel on the canvas."""
        index = self.next_index
        if index:
            self._dispose(self._structure.cels[index - 1])
        cel = self._structure.cels[index]
        picture = self._decoded(cel)
        self._under = self._canvas.crop(_corners(cel)) if cel.dispose == "restore" else None
        if not cel.over:
            self._canvas.paste(picture, cel.box[:2])
        elif self._structure.format == "GIF":  # without half-clear pixels: the same as below, in a third of the time
            self._canvas.paste(picture, cel.box[:2], picture)
        else:
            self._canvas.alpha_composite(picture, cel.box[:2])
        self.next_index += 1

    def skip_to(self, index: int) -> None:
        """Skip the cels before the last one, up to `index`, that hides everything under it."""
        hiding = (i for i in range(index, self.next_index, -1) if self._hides_all(self._structure.cels[i]))
        self.next_index = next(hiding, self.next_index)

    def _hides_all(self, cel: Cel) -> bool:
        """Does the cel replace the whole canvas, for good?"""
        return not cel.over and cel.box == (0, 0, *self._structure.size) and cel.dispose != "restore"

    def picture(self) -> Image.Image:
        shown = self._canvas.copy()
        about = {"icc_profile": self._profile, "exif": self._structure.exif}
        shown.info = {key: value for key, value in about.items() if value}
        return shown

    def _dispose(self, cel: Cel) -> None:
        if cel.dispose == "clear":
            self._canvas.paste(CLEAR, _corners(cel))
        elif self._under is not None:
            self._canvas.paste(self._under, cel.box[:2])

    def _decoded(self, cel: Cel) -> Image.Image:
        file = io.BytesIO(clip_frames.alone(self._file, self._structure, cel))
        image = stills.decoded(self._open(file), lambda: self._open(file))
        self._profile = image.info.get("icc_profile")
        return image.convert("RGBA")

    def _open(self, file: BinaryIO) -> ImageFile.ImageFile:
        return stills.opened(file, self._intake)


class _WebpComposer:
    """Takes WebP frames as libwebp composes them."""

    def __init__(self, file: BinaryIO, intake: Intake) -> None:
        self._image = stills.opened(file, intake)
        self.next_index = 0

    def advance(self) -> None:
        self._image.seek(self.next_index)
        self._image.load()
        self.next_index += 1

    def skip_to(self, index: int) -> None:
        """Do nothing: libwebp skips by itself what it can."""

    def picture(self) -> Image.Image:
        shown = self._image.convert("RGBA")
        shown.info = {key: value for key, value in self._image.info.items() if key in ("icc_profile", "exif")}
        return shown


def _corners(cel: Cel) -> tuple[int, int, int, int]:
    x, y, width, height = cel.box
    return x, y, x + width, y + height


def resample(
    durations_ms: Sequence[int], fps: float, start_s: float = 0.0, stop_s: float | None = None
) -> tuple[int, ...]:
    """Return which frame of a clip is shown at each beat of `fps` between `start_s` and `stop_s` of the clip.

    Beat k shows the frame at its middle, (k + 0.5) / fps after the start. At its beginning, a beat would fall on the
    edges of the clip's frames whenever the rates are alike, and GIF's hundredths (30, 40, 30 ms for 30 fps) would
    double one frame and drop another; the middle is farthest from the edges. The first and the last frame of the
    stretch are always shown. Exact rational arithmetic.
    Raise ValueError for an empty stretch or a rate that is not positive.
    """
    ends = list(accumulate(durations_ms))
    start, stop = _stretch(ends, start_s, stop_s)
    if fps <= 0 or not start < stop:
        raise ValueError(f"nothing to show from {start_s} to {stop_s} s at {fps} fps")
    first = bisect_right(ends, start)
    last = bisect_right(ends, stop - Fraction(1, 1000), lo=first, hi=len(ends) - 1)
    beat = Fraction(1000) / Fraction(fps)
    count = max(1 if first == last else 2, round((stop - start) / beat))
    shown = [min(last, bisect_right(ends, start + (k + Fraction(1, 2)) * beat)) for k in range(count)]
    shown[-1] = last
    shown[0] = first
    return tuple(shown)


def _stretch(ends: Sequence[int], start_s: float, stop_s: float | None) -> tuple[Fraction, Fraction]:
    """Return the stretch in milliseconds, cut to the clip."""
    whole = Fraction(ends[-1] if ends else 0)
    stop = whole if stop_s is None else min(whole, Fraction(stop_s) * 1000)
    return max(Fraction(0), Fraction(start_s) * 1000), stop
