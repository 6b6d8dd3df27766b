"""Draw what a calibration stick shows: the figures of a count, a logo before them and a picture after them."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image, ImageDraw, ImageFont

TENTHS_UP_TO_FPS = 10
"""Up to this rate, figures in tenths of a second differ from frame to frame. Above it they have hundredths."""

Colour = tuple[int, int, int]
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
    """What a stick counts: figures 1 to `frames` at `fps`, under a title. `size` is that of the panel in px."""

    title: str
    size: tuple[int, int]
    fps: int
    frames: int

    def figure(self, number: int) -> str:
        """Return the seconds that frame `number` shows, as text."""
        return figure(number, self.fps)


GROUND, RAIL = (16, 24, 33), (41, 48, 57)
INK, QUIET, AMBER = (247, 243, 231), (132, 146, 156), (231, 162, 57)
"""Colours that a 16-bit panel shows unchanged, since RGB565 holds each of them exactly."""


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
    """Draws the pictures of a count. From frame to frame only the figures and a thin bar change."""

    def __init__(self, count: Count) -> None:
        self.count = count
        self._width, self._height = count.size
        whole = "8" * len(str(count.frames // count.fps))
        self._seconds = self._line(f"{whole}.{'8' * decimals(count.fps)}", 0.20, 0.60)
        self._number = self._line("8" * len(str(count.frames)), 0.70, 0.87)
        self._ground = self._captioned()

    def figure(self, number: int) -> Image.Image:
        """Return the picture of frame `number`, counted from 1."""
        picture = self._ground.copy()
        draw = ImageDraw.Draw(picture)
        for line, text, ink in ((self._seconds, self.count.figure(number), INK), (self._number, str(number), QUIET)):
            draw.text((line.right, line.baseline), text, ink, line.font, anchor="rs")
        self._bar(draw, number / self.count.frames, AMBER)
        return picture

    def logo(self) -> Image.Image:
        """Return the boot logo. It has no figure, so that the film shows when the first frame appears."""
        return self._notice("START", "film until the home screen")

    def hold(self) -> Image.Image:
        """Return the picture that stays after the count until the radio has booted."""
        return self._notice("OVER", f"longer than {self.count.figure(self.count.frames)} s by the count")

    def _line(self, widest: str, top: float, foot: float) -> FigureLine:
        """Return the line of the largest figures that fit, with their caption, between two shares of the height."""
        font = self._fit(widest, 0.86, (foot - top) * 0.84)
        _, above, _, below = font.getbbox(widest, anchor="ls")
        baseline = ((top + foot) / 2 + 0.08 * (foot - top)) * self._height - (above + below) / 2
        return FigureLine(font, (self._width + font.getlength(widest)) / 2, baseline, baseline + above)

    def _captioned(self) -> Image.Image:
        picture = self._plain()
        for line, caption in ((self._seconds, "SECONDS"), (self._number, "FRAME")):
            self._write(picture, caption, line.top / self._height - 0.036, QUIET, 0.4, 0.026)
        return picture

    def _plain(self) -> Image.Image:
        picture = Image.new("RGB", self.count.size, GROUND)
        self._write(picture, f"{self.count.title}  -  {self.count.fps} fps", 0.085, AMBER, 0.86, 0.042)
        self._bar(ImageDraw.Draw(picture), 1.0, RAIL)
        return picture

    def _notice(self, word: str, line: str) -> Image.Image:
        picture = self._plain()
        self._write(picture, word, 0.44, INK, 0.62, 0.16)
        self._write(picture, line, 0.60, QUIET, 0.86, 0.045)
        return picture

    def _write(self, picture: Image.Image, text: str, middle: float, ink: Colour, wide: float, tall: float) -> None:
        at = (self._width / 2, middle * self._height)
        ImageDraw.Draw(picture).text(at, text, ink, self._fit(text, wide, tall), anchor="mm")

    def _fit(self, text: str, wide: float, tall: float) -> Font:
        """Return Pillow's own font in the largest size at which `text` fits into these shares of the panel."""
        left, top, right, foot = ImageFont.load_default(100).getbbox(text)
        scale = min(wide * self._width / (right - left), tall * self._height / (foot - top))
        return ImageFont.load_default(max(4.0, 100 * scale))

    def _bar(self, draw: ImageDraw.ImageDraw, share: float, colour: Colour) -> None:
        left, right = 0.07 * self._width, 0.93 * self._width
        draw.rectangle((left, 0.925 * self._height, left + (right - left) * share, 0.937 * self._height), colour)
