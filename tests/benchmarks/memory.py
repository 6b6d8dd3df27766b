"""Does the memory of a service that makes drops of every kind come back? `python tests/benchmarks/memory.py`

Drops of many kinds go through one real service with two workers: stills, large photographs, phone photographs, films,
GIFs, drawings, pans and broken files, in turns. After each batch it prints the memory of the service's process, of its
largest worker, and of all of them together (Markdown). Nothing passes or fails.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import art
import grown
import numpy as np
import pillow_heif
from PIL import Image

from keyturn.shop.folders import Shop

sys.path.append(str(Path(__file__).parents[1]))
from film_samples import film

A_CUSTOMER = 20
"""Drops of one customer, as on one sheet."""

PAN = '[[part]]\nart = "lamps/1.png"\n[part.pan]\nto = [0.2, 0.1, 0.8, 0.7]\nseconds = 1\n'
DRAWING = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 480 640"><circle cx="%d" cy="300" r="90"/></svg>'


def main() -> None:
    asked = _arguments()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-memory-", dir=asked.where) as folder:
        kinds = {kind: drawn for kind, drawn in _drawn(Path(folder) / "art").items() if kind in (asked.kinds or [kind])}
        shop = grown.opened(Path(folder) / "shop")
        quick = "scan_seconds = 0.5\nworkers = 2\n[settle]\nseconds = 0.2\nwithout_manifest_seconds = 0.3\n"
        (shop.root / "keyturn.toml").write_text(quick)
        _run(shop, kinds, asked.drops, asked.batch)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--drops", type=int, default=1600)
    parser.add_argument("--kinds", nargs="+", help="only these, such as gif drawing broken, which are quick")
    parser.add_argument("--batch", type=int, default=80)
    parser.add_argument("--where", type=Path, help="where the shop is built; default the system's temporary folder")
    return parser.parse_args()


def _run(shop: Shop, kinds: dict[str, tuple[list[Path], str]], drops: int, batch: int) -> None:
    print("| drops | service, MiB | largest worker, MiB | together, MiB | most together, MiB |\n|---|---|---|---|---|")
    with grown.service(shop) as process:
        most = 0.0
        for first in range(0, drops, batch):
            _lay(shop, kinds, range(first, min(drops, first + batch)))

            def done() -> bool:
                nonlocal most
                most = max(most, grown.held_mib(process.pid)[1])
                return not any(shop.inbox.iterdir()) and not any(shop.work.iterdir())

            grown.until(done, 0.1)
            own, together = grown.held_mib(process.pid)
            print(
                f"| {first + batch} | {own:.0f} | {_largest(process.pid):.0f} | {together:.0f} | {most:.0f} |",
                flush=True,
            )


def _lay(shop: Shop, kinds: dict[str, tuple[list[Path], str]], numbers: range) -> None:
    names = list(kinds)
    for number in numbers:
        kind = names[number % len(names)]
        pictures, more = kinds[kind]
        text = grown.manifest(f"Neighbour {number // A_CUSTOMER:03d}", more=more)
        grown.lay(shop.root / "laying", pictures, text).rename(shop.inbox / f"{kind}-{number:05d}")


def _largest(pid: int) -> float:
    """Return the resident set of the largest process under `pid`, in MiB."""
    below = grown.children(pid)
    own = [grown.held_mib(each)[0] for each in below]
    return max([*own, *(_largest(each) for each in below)], default=0.0)


def _drawn(folder: Path) -> dict[str, tuple[list[Path], str]]:
    """Return for each kind its pictures, and what its manifest says beside customer and radio."""
    folder.mkdir(parents=True)
    small = [Image.fromarray(_dim((960, 720), number)) for number in range(24)]
    makers: dict[str, Callable[[Path], list[Path]]] = {
        "flat": lambda into: art.write("flat", into, 6),
        "photos": lambda into: [_saved(image, into / f"{n}.jpg") for n, image in enumerate(art.photos(2), 1)],
        "phone": lambda into: [_saved(image, into / f"{n}.heic") for n, image in enumerate(small[:3], 1)],
        "film": lambda into: [film(into / "1.mp4", [np.asarray(each) for each in small], codec="libx264")],
        "gif": lambda into: [_saved(small[0], into / "1.gif", save_all=True, append_images=small[1:], duration=80)],
        "drawing": lambda into: [_written(into / f"{n}.svg", DRAWING % (100 + 60 * n)) for n in range(1, 4)],
        "pan": lambda into: [_saved(Image.fromarray(_dim((3000, 4000), 1)), into / "1.png")],
        "large": lambda into: [_saved(Image.fromarray(_dim((9000, 6500), 1)), into / "1.png", compress_level=1)],
        "broken": lambda into: [_written(into / "1.png", _saved(small[0], into / "0.png").read_bytes()[:-900])],
    }
    made = {}
    for kind, make in makers.items():
        (folder / kind).mkdir()
        made[kind] = (make(folder / kind), PAN if kind == "pan" else "")
    return made


def _dim(size: tuple[int, int], number: int) -> np.ndarray:
    """Return a picture of this many rows and columns, unlike those of other numbers."""
    pixels = np.full((*size, 3), (40, 60, 80), np.uint8)
    pixels[40 * number % size[0] :, :, 1] = 66
    return pixels


def _saved(image: Image.Image, path: Path, **options: object) -> Path:
    if path.suffix == ".heic":
        pillow_heif.from_pillow(image).save(path)
    else:
        image.save(path, **options)
    return path


def _written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


if __name__ == "__main__":
    main()
