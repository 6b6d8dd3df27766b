"""Draw what a calibration stick shows: the figures of a count, a logo before them and a picture after them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from keyturn.calibrate import code_drawing
from keyturn.calibrate.code_drawing import BRIGHT, DARK, Colour
from keyturn.calibrate.code_layout import CodeLayout
from keyturn.calibrate.film_code import Code
from keyturn.calibrate.stick_plan import LOGO, OVER, StickPlan

TENTHS_UP_TO_FPS = 10
"""Up to this rate, figures in tenths of a second differ from frame to frame. Above it they have hundredths."""

Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


def decimals(fps: int) -> int:
    """Return how many digits after the point the figures of this rate have."""
    return 1 if fps <= TENTHS_UP_TO_FPS else 2


def figure(number: int, fps: int) -> str:
    """Return the seconds that frame `number` shows, as text. Frames are numbered from 1."""
    return f"{number / fps:.{decimals(fps)}f}"


def frame_of(shown_s: float, fps: int) -> int | None:
    """Return the number of the frame that shows `shown_s` seconds, None where no frame does: `figure` reversed."""
    number = max(1, round(shown_s * fps))
    return number if abs(float(figure(number, fps)) - shown_s) < 1e-3 else None


@dataclass(frozen=True, slots=True)
class Count:
    """What a stick counts: figures 1 to `frames` at `fps`, under a title. `size` is that of the panel in px.

    A stick for reading `by_eye` has plain frames alone; see `stick_plan`.
    """

    title: str
    size: tuple[int, int]
    fps: int
    frames: int
    by_eye: bool = False

    @property
    def plan(self) -> StickPlan:
        return StickPlan.of(self.fps, self.frames, by_eye=self.by_eye)

    def figure(self, number: int) -> str:
        """Return the seconds that frame `number` shows, as text."""
        return figure(number, self.fps)


GROUND, RAIL = DARK, (41, 48, 57)
INK, QUIET, AMBER = BRIGHT, (132, 146, 156), (231, 162, 57)
"""Colours that a 16-bit panel shows unchanged, since RGB565 holds each of them exactly."""

GRAIN = 16
"""Detailed frames have so many levels of noise on their ground: too dark to see, and as long to decode as a photograph,
since nothing in it repeats."""


@dataclass(frozen=True, slots=True)
class FigureLine:
    """Where a figure is drawn: its right end, baseline and top in px.

    All digits are equally wide, so a digit that does not change does not move.
    """

    font: Font
    right: float
    baseline: float
    top: float


class CountPictures:
    """Draws the pictures of a count. From frame to frame only the figures, a thin bar and the cells of the code change.

    Each picture has its code (see `film_code`), the logo and the last picture too.
    """

    def __init__(self, count: Count) -> None:
        self.count, self.plan = count, count.plan
        self.layout = CodeLayout(count.size)
        self._width, self._height = count.size
        left, right = self.layout.inside
        self._wide = 0.94 * (right - left) / self._width
        whole = "8" * len(str(count.frames // count.fps))
        self._seconds = self._line(f"{whole}.{'8' * decimals(count.fps)}", 0.315, 0.555)
        self._number = self._line("8" * len(str(count.frames)), 0.575, 0.69)
        self._grounds = {"plain": self._captioned(self._plain()), "detailed": self._captioned(self._detailed())}

    def figure(self, number: int) -> Image.Image:
        """Return the picture of frame `number`, counted from 1."""
        part = self.plan.part_of(number)
        picture = self._grounds[part.drawn if part else "plain"].copy()
        draw = ImageDraw.Draw(picture)
        for line, text, ink in ((self._seconds, self.count.figure(number), INK), (self._number, str(number), QUIET)):
            draw.text((line.right, line.baseline), text, ink, line.font, anchor="rs")
        self._bar(draw, number / self.count.frames, AMBER)
        return self._coded(picture, number)

    def logo(self) -> Image.Image:
        """Return the boot logo. It has no figure, so that the film shows when the first frame appears."""
        return self._notice("START", "film until the home screen", LOGO)

    def hold(self) -> Image.Image:
        """Return the picture that stays after the count until the radio has booted."""
        return self._notice("OVER", f"longer than {self.count.figure(self.count.frames)} s by the count", OVER)

    def _coded(self, picture: Image.Image, number: int) -> Image.Image:
        code_drawing.cells(picture, self.layout, Code(self.count.fps, self.count.by_eye, number))
        return picture

    def _line(self, widest: str, top: float, foot: float) -> FigureLine:
        """Return the line of the largest figures that fit, with their caption, between two shares of the height."""
        font = self._fit(widest, self._wide, (foot - top) * 0.74)
        _, above, _, below = font.getbbox(widest, anchor="ls")
        baseline = ((top + foot) / 2 + 0.13 * (foot - top)) * self._height - (above + below) / 2
        return FigureLine(font, (self._width + font.getlength(widest)) / 2, baseline, baseline + above)

    def _captioned(self, picture: Image.Image) -> Image.Image:
        for line, caption in ((self._seconds, "SECONDS"), (self._number, "FRAME")):
            self._write(picture, caption, line.top / self._height - 0.018, QUIET, 0.4, 0.02)
        return picture

    def _plain(self) -> Image.Image:
        return self._with_ground(Image.new("RGB", self.count.size, GROUND))

    def _detailed(self) -> Image.Image:
        grain = np.random.default_rng(0).integers(0, GRAIN, (self._height, self._width, 3), np.uint8)
        return self._with_ground(Image.fromarray(np.array(GROUND, np.uint8) + grain))

    def _with_ground(self, picture: Image.Image) -> Image.Image:
        self._write(picture, f"{self.count.title}  -  {self.count.fps} fps", 0.29, AMBER, self._wide, 0.026)
        self._bar(ImageDraw.Draw(picture), 1.0, RAIL)
        code_drawing.ground(picture, self.layout)
        return picture

    def _notice(self, word: str, line: str, number: int) -> Image.Image:
        picture = self._plain()
        self._write(picture, word, 0.44, INK, self._wide, 0.16)
        self._write(picture, line, 0.60, QUIET, self._wide, 0.045)
        return self._coded(picture, number)

    def _write(self, picture: Image.Image, text: str, middle: float, ink: Colour, wide: float, tall: float) -> None:
        at = (self._width / 2, middle * self._height)
        ImageDraw.Draw(picture).text(at, text, ink, self._fit(text, wide, tall), anchor="mm")

    def _fit(self, text: str, wide: float, tall: float) -> Font:
        """Return Pillow's own font in the largest size at which `text` fits into these shares of the panel."""
        left, top, right, foot = ImageFont.load_default(100).getbbox(text)
        scale = min(wide * self._width / (right - left), tall * self._height / (foot - top))
        return ImageFont.load_default(max(4.0, 100 * scale))

    def _bar(self, draw: ImageDraw.ImageDraw, share: float, colour: Colour) -> None:
        left, right = self.layout.inside
        draw.rectangle((left, 0.725 * self._height, left + (right - left) * share, 0.734 * self._height), colour)
