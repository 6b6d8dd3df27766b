"""BMP files with colour masks that Pillow does not know, against ImageMagick."""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.normalize.reading import stills
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake
WORDS = np.random.default_rng(2).integers(0, 2**32, (9, 7)).astype(np.uint32)

MASKS = {
    "blue first": (32, (0xFF, 0xFF00, 0xFF0000, 0)),
    "ten bits": (32, (0x3FF00000, 0xFFC00, 0x3FF, 0)),
    "ten bits, alpha": (32, (0x3FF00000, 0xFFC00, 0x3FF, 0xC0000000)),
    "four bits": (16, (0xF00, 0xF0, 0xF, 0xF000)),
    "six, five, five": (16, (0xFC00, 0x3E0, 0x1F, 0)),
}


def bmp(path: Path, bits: int, masks: tuple[int, ...], *, down: bool = False) -> Path:
    """WORDS under a BITMAPV4HEADER (wingdi.h)."""
    words = WORDS if bits == 32 else WORDS.astype(np.uint16)
    rows = [row.tobytes().ljust((7 * bits + 31) // 32 * 4, b"\0") for row in (words if down else words[::-1])]
    info = struct.pack("<IiiHHIIiiII", 108, 7, -9 if down else 9, 1, bits, 3, 0, 2835, 2835, 0, 0)
    info += struct.pack("<4I", *masks) + b"BGRs" + bytes(48)
    data = b"".join(rows)
    path.write_bytes(b"BM" + struct.pack("<IHHI", 122 + len(data), 0, 0, 122) + info + data)
    return path


@pytest.mark.system
@pytest.mark.parametrize("down", [False, True])
@pytest.mark.parametrize("case", MASKS)
def test_imagemagick_sees_the_same_colours(tmp_path: Path, needs: Callable[[str], str], case: str, down: bool) -> None:
    bits, masks = MASKS[case]
    path = bmp(tmp_path / "a.bmp", bits, masks, down=down)
    subprocess.run([needs("convert"), path, "-depth", "8", f"PNG24:{tmp_path / 'a.png'}"], check=True)
    theirs = np.asarray(Image.open(tmp_path / "a.png").convert("RGB"))
    ours = stills.load(path, INTAKE, name="a.bmp")
    assert stills.probe(path, INTAKE, name="a.bmp").size == (7, 9)
    # ImageMagick 6 shifts narrow values up instead of spreading them: 15 of 15 becomes 240 there, and white here.
    narrowest = min(8, *(mask.bit_count() for mask in masks[:3]))
    apart = np.asarray(ours)[..., :3].astype(int) - theirs
    assert apart.min() >= -1 and apart.max() <= max(1, 2 ** (8 - narrowest) - 1)


def test_values_under_a_mask_are_spread_evenly(tmp_path: Path) -> None:
    made = np.asarray(stills.load(bmp(tmp_path / "a.bmp", *MASKS["ten bits, alpha"]), INTAKE, name="a.bmp"))
    for channel, (shift, most) in enumerate([(20, 1023), (10, 1023), (0, 1023), (30, 3)]):
        values = (WORDS >> np.uint32(shift) & np.uint32(most)).astype(float)
        assert (made[..., channel] == np.floor(values * 255 / most + 0.5)).all()


@pytest.mark.parametrize("masks", [(0xFF, 0xFF00, 0, 0), (0xF0F, 0xF0, 0xF000, 0), (0, 0, 0, 0xFF)])
def test_masks_that_make_no_sense_are_refused(tmp_path: Path, masks: tuple[int, ...]) -> None:
    with pytest.raises(Refused) as caught:
        stills.load(bmp(tmp_path / "a.bmp", 32, masks), INTAKE, name="a.bmp")
    assert [r.code for r in caught.value.reasons] == ["picture-broken"]


def test_rows_that_break_off_are_refused(tmp_path: Path) -> None:
    path = bmp(tmp_path / "a.bmp", *MASKS["ten bits"])
    path.write_bytes(path.read_bytes()[:-5])
    with pytest.raises(Refused) as caught:
        stills.load(path, INTAKE, name="a.bmp")
    assert [r.code for r in caught.value.reasons] == ["picture-broken"]
