"""`keyturn new`: a starter drop an artist can change bit by bit. It is made as it stands."""

from __future__ import annotations

import math
from pathlib import Path

from PIL import Image, ImageDraw

from keyturn.manifest import FILE_NAME, schema_text
from keyturn.reasons import ShopFault
from keyturn.rulebook import Radio

FRAMES = 25

_MANIFEST = """\
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

[logo]
art = "logo.png"             # or "first-frame"

[motion]
fps = 8                      # or "auto": as slow as still finishes in time
finish = 0.95                # share of starts in which the parts that play once must finish

[[part]]
art = "frames/*.png"         # numbered pictures, or one GIF, APNG or WebP clip
plays = 1
pause = 0.5                  # seconds of rest after each play

[[part]]
art = "frames/{last}"      # the picture that stands until the radio has booted
plays = "until-booted"
"""


def write(folder: Path, radio: Radio) -> None:
    """Raises `ShopFault` where `folder` already holds something: nothing is overwritten."""
    if folder.exists() and any(folder.iterdir()):
        raise ShopFault(f"{folder} is not empty", "name a new folder")
    (folder / "frames").mkdir(parents=True)
    for number in range(1, FRAMES + 1):
        _frame(radio.panel.size, (number - 1) / (FRAMES - 1)).save(folder / "frames" / f"{number:04d}.png")
    _frame(radio.panel.size, 0.0).save(folder / "logo.png")
    text = _MANIFEST.format(radio=radio.name, last=f"{FRAMES:04d}.png")
    (folder / FILE_NAME).write_text(text, encoding="utf-8")
    (folder / "job.schema.json").write_text(schema_text(), encoding="utf-8")


def _frame(size: tuple[int, int], share: float) -> Image.Image:
    """A leaf that opens and closes: it ends as it began."""
    width, height = size
    picture = Image.new("RGB", (width * 2, height * 2), "#10241c")
    draw = ImageDraw.Draw(picture)
    opened = math.sin(math.pi * share) ** 2
    unit = min(width, height) * 2
    x, y = width, height + unit * 0.28
    draw.line([(x, y), (x, y - unit * 0.56)], fill="#4f8a5b", width=unit // 80)
    for step in range(7):
        reach = unit * 0.22 * (1 - step / 8) * (0.25 + 0.75 * opened)
        at = y - unit * 0.08 * (step + 1)
        for side in (-1, 1):
            tip = (x + side * reach, at - reach * 0.55)
            draw.line([(x, at), tip], fill="#7fc48b", width=unit // 60)
            draw.circle(tip, unit // 70, fill="#c8e6a0")
    return picture.resize(size, Image.Resampling.LANCZOS).quantize(32).convert("RGB")
