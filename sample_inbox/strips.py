"""Film strips for the README: frames taken from what `keyturn make` makes of each starter drop, and of the fleet.

    python sample_inbox/strips.py [--out DIR] [KIND ...]

Needs Keyturn installed.
"""

from __future__ import annotations

import argparse
import io
import json
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Sequence
from pathlib import Path

from PIL import Image, ImageOps

from keyturn.commands import starter

HERE = Path(__file__).resolve().parent / "_pictures"
RADIO = "wide-1024x600"
SHOWN, WIDE, GAP = 6, 150, 6
FLEET = Path(__file__).resolve().parent / "six-vans"
KINDS = (*starter.KINDS, "fleet")


def main(words: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description="Draws the README's film strips.")
    parser.add_argument("kinds", nargs="*", metavar="KIND", help=f"some of: {', '.join(KINDS)}")
    parser.add_argument("--out", type=Path, default=HERE)
    wanted = parser.parse_args(words)
    wanted.out.mkdir(exist_ok=True)
    for kind in wanted.kinds or KINDS:
        with tempfile.TemporaryDirectory() as scratch:
            frames = held(Path(scratch)) if kind == "fleet" else made(kind, Path(scratch))
            strip(frames).save(wanted.out / f"{kind}.png", optimize=True)


def made(kind: str, scratch: Path) -> list[Image.Image]:
    """The frames of the starter's once-only parts, as the radio gets them."""
    drop = scratch / kind
    keyturn("new", str(drop), "--kind", kind, "--radio", RADIO)
    keyturn("make", str(drop), "--out", str(scratch))
    return pictures(next(scratch.glob("*/*/usb/bootanimation.zip")))[:-1]


def held(scratch: Path) -> list[Image.Image]:
    """The picture that holds on each radio of the sample inbox's fleet, in the order of its rows."""
    keyturn("make", str(FLEET), "--out", str(scratch))
    jobs = sorted(scratch.glob("*/*/job.json"), key=lambda path: json.loads(path.read_bytes())["row"])
    return [pictures(next(job.parent.rglob("bootanimation.zip")))[-1] for job in jobs]


def keyturn(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "keyturn", *words], check=True, stdout=subprocess.DEVNULL)


def pictures(path: Path) -> list[Image.Image]:
    """The frames of the once-only parts, and the first of the hold."""
    with zipfile.ZipFile(path) as animation:
        names = [name for name in animation.namelist() if name.endswith((".png", ".jpg"))]
        hold = max(name.partition("/")[0] for name in names)
        shown = [name for name in names if not name.startswith(hold)] + [n for n in names if n.startswith(hold)][:1]
        return [Image.open(io.BytesIO(animation.read(name))).convert("RGB") for name in shown]


def strip(frames: list[Image.Image]) -> Image.Image:
    """Evenly spaced frames side by side, the first and the last among them."""
    chosen = [frames[round(i * (len(frames) - 1) / (SHOWN - 1))] for i in range(SHOWN)]
    high = round(WIDE * frames[0].height / frames[0].width)
    sheet = Image.new("RGB", (SHOWN * WIDE + (SHOWN - 1) * GAP, high), "white")
    for place, frame in enumerate(chosen):
        sheet.paste(ImageOps.fit(frame, (WIDE, high), Image.Resampling.LANCZOS), (place * (WIDE + GAP), 0))
    return sheet.quantize(160, dither=Image.Dither.NONE)


if __name__ == "__main__":
    main()
