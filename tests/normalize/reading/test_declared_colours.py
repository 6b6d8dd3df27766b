"""Colours that a PNG declares in numbers, against colour-science's own tables and curves."""

from __future__ import annotations

import itertools
import struct
import warnings
import zlib
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from keyturn.normalize import decode
from keyturn.normalize.reading import declared_colours, stills
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.srgb import to_srgb
from keyturn.package import unchanged_png
from keyturn.shop import rulebook

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it speaks of plotting libraries that are not wanted here
    import colour

INTAKE = rulebook.load().intake
PIXELS = np.random.default_rng(6).integers(0, 256, (24, 18, 3)).astype(np.uint8)
SRGB, P3, WIDE = (colour.RGB_COLOURSPACES[name] for name in ("sRGB", "Display P3", "ITU-R BT.2020"))
ADOBE = colour.RGB_COLOURSPACES["Adobe RGB (1998)"]


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def gama(value: int) -> bytes:
    return chunk(b"gAMA", struct.pack(">I", value))


def chrm(space: colour.RGB_Colourspace) -> bytes:
    points = [*space.whitepoint, *space.primaries.reshape(-1)]
    return chunk(b"cHRM", struct.pack(">8I", *(round(float(v) * 100_000) for v in points)))


def cicp(primaries: int, transfer: int) -> bytes:
    return chunk(b"cICP", bytes([primaries, transfer, 0, 1]))


def png(path: Path, said: bytes) -> Path:
    """PIXELS with `said` between IHDR and IDAT (PNG specification, third edition, 5.6)."""
    head = struct.pack(">IIBBBBB", 18, 24, 8, 2, 0, 0, 0)
    rows = zlib.compress(b"".join(b"\0" + row.tobytes() for row in PIXELS))
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + said + chunk(b"IDAT", rows) + chunk(b"IEND", b"")
    path.write_bytes(data)
    return path


def wanted(light: NDArray[np.float64], space: colour.RGB_Colourspace) -> NDArray[np.float64]:
    """Linear light of `space` as 8-bit sRGB; what lies outside is cut off."""
    srgb = colour.RGB_to_RGB(light, space, SRGB)
    return colour.models.eotf_inverse_sRGB(np.clip(srgb, 0, 1)) * 255


V = PIXELS / 255
CASES = {
    "linear": (gama(100_000), V, SRGB),
    "gamma 1.8": (gama(55_556), V**1.8, SRGB),
    "gamma and primaries": (gama(45_455) + chrm(ADOBE), V ** (1 / 0.45455), ADOBE),
    "P3": (cicp(12, 13), P3.cctf_decoding(V), P3),
    "BT.2020, linear": (cicp(9, 8), V, WIDE),
    # ITU-R BT.2408: paper white is 203 candelas under PQ, and 75 % of the signal under HLG.
    "PQ": (cicp(9, 16), np.clip(colour.models.eotf_ST2084(V) / 203, 0, 1), WIDE),
    "cICP before the rest": (cicp(12, 13) + gama(100_000) + chunk(b"sRGB", b"\0"), P3.cctf_decoding(V), P3),
}


@pytest.mark.parametrize("case", CASES)
def test_declared_colours_come_out_as_colour_science_has_them(tmp_path: Path, case: str) -> None:
    said, light, space = CASES[case]
    path = png(tmp_path / "a.png", said)
    for raw in (stills.load(path, INTAKE, name="a.png"), decode.still(path, INTAKE, name="a.png")):
        made, reasons = to_srgb(raw)
        apart = np.abs(np.asarray(made) - wanted(light, space))
        # Steep curves near black cost 8-bit values a step or two; the average tells a wrong curve from rounding.
        assert apart.max() < 4 and apart.mean() < 0.5
        assert [r.code for r in reasons] == ["profile-followed"]
    assert np.abs(np.asarray(made).astype(int) - PIXELS).max() > 15  # so following it matters


def test_hlg_has_its_paper_white_and_its_black(tmp_path: Path) -> None:
    # ITU-R BT.2408: 75 % HLG is paper white; its slope below half is the square root's (BT.2100, table 5).
    raw = stills.load(png(tmp_path / "a.png", cicp(1, 18)), INTAKE, name="a.png")
    ramp = Image.fromarray(np.repeat(np.array([[0, 64, 128, 191, 255]], np.uint8)[..., None], 3, -1))
    ramp.info = raw.info
    made = np.asarray(to_srgb(ramp)[0])[0, :, 0]
    assert made[0] == 0 and made[3] >= 254 and made[4] == 255 and (np.diff(made[:4].astype(int)) > 0).all()


@pytest.mark.parametrize(
    "said",
    [
        b"",
        gama(45_455),
        gama(45_000) + chrm(SRGB),
        chunk(b"sRGB", b"\0") + gama(100_000),
        cicp(1, 13),
        cicp(1, 1),
        chrm(ADOBE),  # without gAMA it says only half
        gama(0),
        gama(2**30),
        gama(45_455) + chunk(b"cHRM", bytes(32)),
        chunk(b"cICP", b"\1"),
    ],
)
def test_what_says_srgb_or_nothing_sensible_changes_nothing(tmp_path: Path, said: bytes) -> None:
    path = png(tmp_path / "a.png", said)
    made, reasons = to_srgb(decode.still(path, INTAKE, name="a.png"))
    assert (np.asarray(made) == PIXELS).all() and not reasons


def test_an_embedded_profile_counts_before_gamma(tmp_path: Path) -> None:
    said = gama(100_000) + chunk(b"iCCP", b"x\0\0" + zlib.compress(b"its own"))
    assert stills.load(png(tmp_path / "a.png", said), INTAKE, name="a.png").info["icc_profile"] == b"its own"


def test_a_file_with_colours_of_its_own_never_goes_through_untouched(tmp_path: Path) -> None:
    picture = Image.fromarray(PIXELS)
    assert unchanged_png.untouched(png(tmp_path / "a.png", gama(45_455)), picture) is not None
    for said in (gama(100_000), chrm(ADOBE), cicp(12, 13)):
        assert unchanged_png.untouched(png(tmp_path / "b.png", said), picture) is None


def test_an_apng_declares_for_all_its_frames(tmp_path: Path) -> None:
    pictures = [Image.fromarray(PIXELS), Image.fromarray(PIXELS[::-1])]
    path = tmp_path / "a.png"
    pictures[0].save(path, save_all=True, append_images=pictures[1:], duration=80)
    whole = path.read_bytes()
    path.write_bytes(whole[:33] + gama(100_000) + whole[33:])
    with Clip(path, INTAKE, name="a.png") as clip:
        for index, pixels in enumerate((PIXELS, PIXELS[::-1])):
            made = np.asarray(to_srgb(clip.frame(index))[0])
            assert np.abs(made - wanted(pixels / 255, SRGB)).max() < 4


def test_garbage_in_the_chunks_is_never_a_crash(tmp_path: Path) -> None:
    dice = np.random.default_rng(3)
    for kind, length in itertools.product((b"gAMA", b"cHRM", b"cICP"), (0, 3, 4, 32, 33)):
        for _ in range(5):
            with png(tmp_path / "a.png", gama(30_000) + chunk(kind, dice.bytes(length))).open("rb") as file:
                found = declared_colours.profile(file)
            assert found is None or found[36:40] == b"acsp"
