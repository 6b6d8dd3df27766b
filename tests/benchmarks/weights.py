"""What each way of packing saves, on the benchmarks' own art: `python tests/benchmarks/weights.py`.

Every kind is made for a tall panel of 768 x 1024 by the real line, first as plain RGB PNG, then with one rule of
the radio's profile allowed after another. Nothing here passes or fails: it prints a table (Markdown). Pictures that
are not JPEG are compared with the plain ones to the pixel, as a player would compose them.
"""

from __future__ import annotations

import argparse
import io
import tempfile
import time
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import art
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.commands import make_by_hand
from keyturn.package import PRELOAD
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.records import RadioRecord
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import LocalCrew

RADIO = "tall-768x1024"
RULES: dict[str, dict[str, object]] = {
    "plain": {"palette": False, "trim": False, "frame_formats": ("png",)},
    "palette": {"palette": True, "trim": False, "frame_formats": ("png",)},
    "cropped": {"palette": False, "trim": True, "row_colour": True, "frame_formats": ("png",)},
    "JPEG": {"palette": False, "trim": False, "frame_formats": ("png", "jpeg")},
    "all": {"palette": True, "trim": True, "row_colour": True, "frame_formats": ("png", "jpeg")},
}

Pixels = list[NDArray[np.uint8]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=12)
    parser.add_argument("--kinds", nargs="+", choices=art.KINDS, default=list(art.KINDS))
    asked = parser.parse_args()
    print("| | rule | KB in all | of plain | JPEG, palette, cropped | s | pixels that differ |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory(prefix="keyturn-weights-") as scratch:
        for kind in asked.kinds:
            drop = Path(scratch) / kind
            art.write(kind, drop / "art", asked.frames)
            (drop / "job.toml").write_text(f'customer = "Fern Hollow Mobile Library"\nradio = "{RADIO}"\n')
            _print_kind(kind, drop, Path(scratch))


def _print_kind(kind: str, drop: Path, scratch: Path) -> None:
    plain_bytes, plain_pixels = 0, Pixels()
    for name, rules in RULES.items():
        started = time.perf_counter()
        record, path = _made(drop, scratch / f"{kind}-{name}", rules)
        seconds = time.perf_counter() - started
        shown = list(_composed(path))
        plain_bytes, plain_pixels = plain_bytes or record.zip_bytes, plain_pixels or shown
        apart = sum(int((a != b).any(-1).sum()) for a, b in zip(shown, plain_pixels, strict=True))
        part = record.parts[0]
        how = f"{part.jpeg_frames}, {part.palette_frames}, {part.trimmed}"
        share = f"{record.zip_bytes / plain_bytes:.2f}"
        print(
            f"| {kind} | {name} | {record.zip_bytes / 1000:,.0f} | {share} | {how} | {seconds:.1f} | {apart:,} |",
            flush=True,
        )
        for reason in record.reasons:
            if reason.code.startswith("packed"):
                print(f"\n{reason.what}\n")


def _made(drop: Path, out: Path, rules: dict[str, object]) -> tuple[RadioRecord, Path]:
    out.mkdir()
    loaded = _rulebook(rules)
    crew = LocalCrew(2, loaded.intake.workers, PRELOAD)
    made = make_by_hand.make(drop, out, Bench(loaded, crew, lambda: datetime.now(UTC)))
    crew.close()
    assert made.folder is not None
    return made.made.record.radios[0], made.folder / "usb" / "bootanimation.zip"


def _rulebook(rules: dict[str, object]) -> Rulebook:
    loaded = rulebook.load()
    radio = loaded.radios[RADIO]
    facts = {key: value for key, value in rules.items() if key in ("trim", "row_colour")}
    player = radio.player.model_copy(update=facts)
    firmware = radio.firmware.model_copy(update={key: value for key, value in rules.items() if key not in facts})
    radio = radio.model_copy(update={"firmware": firmware, "player": player})
    return loaded.model_copy(update={"radios": {RADIO: radio}})


def _composed(path: Path) -> Iterator[NDArray[np.uint8]]:
    """The first part's frames as a player shows them."""
    with zipfile.ZipFile(path) as pack:
        size, row = pack.read("desc.txt").decode().splitlines()[:2]
        wide, high = map(int, size.split()[:2])
        ground = row.partition("#")[2] or "000000"
        names = sorted(n for n in pack.namelist() if n.startswith("part0/0"))
        lines = pack.read("part0/trim.txt").decode().split() if "part0/trim.txt" in pack.namelist() else []
        for i, name in enumerate(names):
            screen = Image.new("RGB", (wide, high), f"#{ground}")
            _, x, y = lines[i].split("+") if lines else ("", "0", "0")
            screen.paste(Image.open(io.BytesIO(pack.read(name))).convert("RGB"), (int(x), int(y)))
            yield np.asarray(screen)


if __name__ == "__main__":
    main()
