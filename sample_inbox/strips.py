"""Film strips for the README: frames taken from what `keyturn make` makes of each starter drop.

    python sample_inbox/strips.py [--out DIR] [KIND ...]

Needs Keyturn installed.
"""

from __future__ import annotations

import argparse
import io
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

from keyturn.commands import starter

HERE = Path(__file__).resolve().parent / "_pictures"
RADIO = "wide-1024x600"
SHOWN, WIDE, GAP = 6, 150, 6


def main(words: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description="Draws the README's film strips.")
    parser.add_argument("kinds", nargs="*", metavar="KIND", help=f"some of: {', '.join(starter.KINDS)}")
    parser.add_argument("--out", type=Path, default=HERE)
    wanted = parser.parse_args(words)
    wanted.out.mkdir(exist_ok=True)
    for kind in wanted.kinds or starter.KINDS:
        with tempfile.TemporaryDirectory() as scratch:
            strip(made(kind, Path(scratch))).save(wanted.out / f"{kind}.png", optimize=True)


def made(kind: str, scratch: Path) -> list[Image.Image]:
    """The frames of the starter's once-only parts, as the radio gets them."""
    drop = scratch / kind
    for command in (["new", str(drop), "--kind", kind, "--radio", RADIO], ["make", str(drop), "--out", str(scratch)]):
        subprocess.run([sys.executable, "-m", "keyturn", *command], check=True, stdout=subprocess.DEVNULL)
    with zipfile.ZipFile(next(scratch.glob("*/*/usb/bootanimation.zip"))) as animation:
        names = [name for name in animation.namelist() if name.endswith((".png", ".jpg"))]
        hold = max(name.partition("/")[0] for name in names)
        once = [name for name in names if not name.startswith(hold)]
        return [Image.open(io.BytesIO(animation.read(name))).convert("RGB") for name in once]


def strip(frames: list[Image.Image]) -> Image.Image:
    """Evenly spaced frames side by side, the first and the last among them."""
    chosen = [frames[round(i * (len(frames) - 1) / (SHOWN - 1))] for i in range(SHOWN)]
    high = round(WIDE * frames[0].height / frames[0].width)
    sheet = Image.new("RGB", (SHOWN * WIDE + (SHOWN - 1) * GAP, high), "white")
    for place, frame in enumerate(chosen):
        sheet.paste(frame.resize((WIDE, high), Image.Resampling.LANCZOS), (place * (WIDE + GAP), 0))
    return sheet.quantize(160, dither=Image.Dither.NONE)


if __name__ == "__main__":
    main()
