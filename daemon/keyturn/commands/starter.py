"""Starter drops for `keyturn new`, one for each way to make a part.

The shop accepts each as it is, so an artist can change it bit by bit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from keyturn.commands import starter_art as art
from keyturn.manifest.models import FILE_NAME
from keyturn.manifest.schema import schema_text
from keyturn.shop.radio_profile import Radio
from keyturn.shop.wrong_use import WrongUse

Size = tuple[int, int]

FRAMES = 25

_HEAD = """\
#:schema ./job.schema.json
# A Keyturn job. Only customer and radio must be there; the rest shows what can be said.

customer = "Fern Hollow Mobile Library"   # whose radio this is
radio = "{radio}"                  # or several: ["{radio}", "another"]

# job = "van-two"            # default: this folder's name
# artist = "Ines"
# rush = true                # goes before the other waiting drops
background = "#10241c"       # what transparency is laid on
fit = "cover"                # cover fills the panel and crops; contain shows all
focus = [0.5, 0.5]           # what cover keeps: shares from the left and from the top
"""

_FRAMES = """
[logo]
art = "logo.png"             # or "first-frame"

[motion]
fps = 8                      # or "auto": the lowest rate that finishes in time and looks like motion
finish = 0.95                # share of starts in which the parts that play once must finish

[[part]]
art = "frames/*.png"         # numbered pictures, or one clip
plays = 1
pause = 0.5                  # seconds of rest after each play

[[part]]
art = "frames/0025.png"      # the picture that stands until the radio has booted
plays = "until-booted"
"""

_GLIDE = """
[motion]
fps = 10

# Keyturn draws the frames. Places are shares of the panel from its top left corner.
# Below 0 and above 1 they are outside, so the leaf comes into view and leaves it.
[[part]]
[part.glide]
backdrop = "hills.png"
seconds = 6                  # or frames = 60
bend = true                  # a smooth curve through the points

[[part.glide.sprite]]
art = "leaf.png"             # a picture with a transparent ground
path = [[-0.2, 0.3], [0.3, 0.45], [0.6, 0.3], [1.2, 0.55]]
size = [0.2, 0.34]           # shares of the panel's height: it grows, as if it came nearer
turn = [-40, 320]            # degrees, clockwise
bob = [0.02, 3]              # how far up and down, and how often

[[part.glide.sprite]]
text = "Fern Hollow"         # words in place of a picture
path = [[0.5, 0.82]]         # one point: it stays there
size = 0.1
colour = "#e8f0d8"
fade = [0.3, 0.3]            # shares of its time in which it appears and vanishes
"""

_LAYERS = """
[motion]
fps = 10

# Transparent pictures over one still: you draw only what changes.
[[part]]
art = "glow/*.png"
backdrop = "hills.png"
there_and_back = true        # or reverse = true

# The still itself dissolves into another one, which then stays.
[[part]]
art = "hills.png"
crossfade = { to = "night.png", seconds = 2 }
"""

_PAN = """
[motion]
fps = 12

# One still and a slow move over it: left, top, right and bottom of the area that is
# seen first and last, in shares of the picture.
[[part]]
art = "view.png"
pan = { from = [0.0, 0.0, 1.0, 1.0], to = [0.44, 0.46, 0.84, 0.86], seconds = 5, ease = "in-out" }
"""

_CLIP = """
[motion]
fps = "auto"                 # not below the clip's own rate

# A clip keeps its own timing: a GIF, an APNG or an animated WebP, or a film where the shop
# has what reads films.
[[part]]
art = "leaf.gif"
start = 0.5                  # seconds of the clip: what is before and after is left out
stop = 2.8

[[part]]
art = "rest.png"
plays = "until-booted"
"""


@dataclass(frozen=True, slots=True)
class StarterKind:
    """A way to make a part: the rest of its manifest, and a function that draws its pictures.

    `draw` takes the folder they go to and the size of the panel in px.
    """

    manifest: str
    draw: Callable[[Path, Size], None]


def _frames(folder: Path, size: Size) -> None:
    (folder / "frames").mkdir()
    for number in range(1, FRAMES + 1):
        art.fern(size, (number - 1) / (FRAMES - 1)).save(folder / "frames" / f"{number:04d}.png")
    art.fern(size, 0.0).save(folder / "logo.png")


def _glide(folder: Path, size: Size) -> None:
    art.hills(size).save(folder / "hills.png")
    art.leaf(min(size) // 2).save(folder / "leaf.png")


def _layers(folder: Path, size: Size) -> None:
    (folder / "glow").mkdir()
    for number in range(1, 13):
        art.glow(size, (number - 1) / 11).save(folder / "glow" / f"{number:02d}.png")
    art.hills(size).save(folder / "hills.png")
    art.hills(size, night=True).save(folder / "night.png")


def _pan(folder: Path, size: Size) -> None:
    art.hills((size[0] * 2, size[1] * 2)).save(folder / "view.png")


def _clip(folder: Path, size: Size) -> None:
    pictures = [art.fern(size, number / 24) for number in range(25)]
    pictures[0].save(folder / "leaf.gif", save_all=True, append_images=pictures[1:], duration=120, loop=0)
    pictures[-1].save(folder / "rest.png")


KINDS = {
    "frames": StarterKind(_FRAMES, _frames),
    "glide": StarterKind(_GLIDE, _glide),
    "layers": StarterKind(_LAYERS, _layers),
    "pan": StarterKind(_PAN, _pan),
    "clip": StarterKind(_CLIP, _clip),
}


def write(folder: Path, radio: Radio, kind: str = "frames") -> None:
    """Write a starter drop for `radio`. Raise `WrongUse` where `kind` is unknown or `folder` is not empty."""
    if kind not in KINDS:
        raise WrongUse(f"there is no starter called {kind}", f"name one of: {', '.join(KINDS)}")
    if folder.exists() and any(folder.iterdir()):
        raise WrongUse(f"{folder} is not empty", "name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    KINDS[kind].draw(folder, radio.panel.size)
    text = _HEAD.format(radio=radio.name) + KINDS[kind].manifest
    (folder / FILE_NAME).write_text(text, encoding="utf-8")
    (folder / "job.schema.json").write_text(schema_text(), encoding="utf-8")
