"""A start of a radio with the calibration stick in it: which picture is on the screen from when on.

The stick is the one that `make_stick` writes. It is played by `radio.reference_player`, another author's player, not by
the package's own timeline.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from keyturn.calibrate import make_stick
from keyturn.shop.radio_profile import Radio
from keyturn.shop.rulebook import Rulebook
from radio.reference_player import archive
from radio.reference_player.archive import Frame
from radio.reference_player.loop import Loop
from radio.reference_player.screen import Played

Key = str
"""What is on the screen: "dark" (no light), "black", "logo", "home", or a frame as PART/FILE."""


@dataclass(frozen=True)
class RadioDoes:
    """How a radio really behaves. `decode_ms` is for plain and for detailed frames."""

    generation: int = 1
    boot_s: float = 8.0
    decode_ms: tuple[float, float] = (12.0, 35.0)
    draw_ms: float = 4.0
    sixteen_bits: bool = False


@dataclass(frozen=True)
class Stick:
    """A stick's files: the animation, and every picture by its key, as the panel gets it (RGB)."""

    animation: bytes
    pictures: dict[Key, NDArray[np.uint8]]
    numbers: dict[Key, int]


@dataclass(frozen=True)
class Start:
    """From when on the screen shows what, in seconds after work on the first frame began; `numbers` is the stick's."""

    does: RadioDoes
    stick: Stick
    shows: tuple[tuple[float, Key], ...]
    first_s: float
    home_s: float


def stick(radio: Radio, rules: Rulebook, folder: Path, *, fps: int, seconds: float) -> Stick:
    """Write a stick into `folder`, and return what is on it."""
    make_stick(radio, folder, fps=fps, seconds=seconds, rules=rules)
    animation = (folder / radio.stick.animation).read_bytes()
    pictures, numbers = {}, {}
    with zipfile.ZipFile(io.BytesIO(animation)) as packed:
        names = sorted(name for name in packed.namelist() if "/" in name)
        for number, name in enumerate(names, 1):
            pictures[name] = np.asarray(Image.open(io.BytesIO(packed.read(name))).convert("RGB"))
            numbers[name] = number
        numbers[names[-1]] = OVER
    with Image.open(folder / radio.stick.logo) as logo:
        pictures["logo"] = np.asarray(logo.convert("RGB"))
    numbers["logo"] = LOGO
    for dark in ("dark", "black"):
        pictures[dark] = np.zeros_like(pictures["logo"])
    pictures["home"] = _home(radio.panel.size)
    return Stick(animation, pictures, numbers)


LOGO, OVER = 0, 16383
"""The numbers in the codes of the logo and of the last picture."""


class _Costed(Loop):
    """Detailed pictures take longer to decode than plain ones: those of the second part of four."""

    costs = (0.0, 0.0)

    def decode(self, number: int, frame: Frame) -> None:
        self.decode_ms = self.costs[1 if len(self.parts) == 4 and number == 1 else 0]
        super().decode(number, frame)


def start(on: Stick, does: RadioDoes, *, dark_s: float = 0.4, logo_s: float = 1.5, gap_s: float = 0.0) -> Start:
    """Play the stick in a radio that does so: dark, logo, the animation, perhaps a black gap, the home screen."""
    played = Played(does.generation, 1000 * does.boot_s)
    animation = archive.read(on.animation, does.generation)
    assert animation is not None and animation.size is not None
    loop = _Costed(played, animation, animation.size[2], (does.decode_ms[0], does.draw_ms), True)
    loop.costs = does.decode_ms
    loop.run()
    assert played.released_ms is not None
    shows: list[tuple[float, Key]] = [(-logo_s - dark_s, "dark"), (-logo_s, "logo")]
    rows = [part.row.path.decode() for part in animation.parts]
    for drawn in played.drawn:
        seen = "black" if drawn.seen is None or drawn.part is None else f"{rows[drawn.part]}/{drawn.seen}"
        shows.append((drawn.at_ms / 1000, seen))
    home_s = played.released_ms / 1000 + gap_s
    if gap_s:
        shows.append((played.released_ms / 1000, "black"))
    shows.append((home_s, "home"))
    first_s = next(at for at, key in shows if key in on.numbers and key != "logo")
    return Start(does, on, tuple(shows), first_s, home_s)


def _home(size: tuple[int, int]) -> NDArray[np.uint8]:
    """Return a home screen: tiles and a clock on a slope of dark blue."""
    width, height = size
    picture = Image.new("RGB", size, (18, 30, 52))
    draw = ImageDraw.Draw(picture)
    for row in range(3):
        for column in range(4):
            left, top = (0.06 + 0.23 * column) * width, (0.3 + 0.22 * row) * height
            colour = (60 + 50 * column, 180 - 40 * row, 90 + 60 * ((row + column) % 3))
            draw.rounded_rectangle((left, top, left + 0.18 * width, top + 0.16 * height), 0.02 * width, colour)
    draw.rectangle((0.35 * width, 0.08 * height, 0.65 * width, 0.2 * height), (210, 220, 230))
    return np.asarray(picture)
