"""What a picture's header says of it: depth, turn, transparency, limits."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from keyturn.normalize.reading import stills
from keyturn.shop.reasons import Kind, Refused
from normalize.reading.test_stills import INTAKE, KINDS, art, chunk, limited, png_bytes, refusal, saved


def test_a_wrong_ending_is_mended_not_refused(tmp_path: Path) -> None:
    found = stills.probe(saved(tmp_path / "a.png", "JPEG"), INTAKE, name="a.png")
    assert [(r.code, r.kind, r.file) for r in found.reasons] == [("suffix-wrong", Kind.MENDED, "a.png")]


def test_the_header_tells_depth_interlace_alpha_and_profile(tmp_path: Path) -> None:
    rows = [bytes(6 * 4)] * 3
    deep = tmp_path / "deep.png"
    deep.write_bytes(png_bytes((4, 3), 16, 2, rows))
    assert stills.probe(deep, INTAKE, name="deep.png").bits == 16
    # Pillow writes no interlaced PNG: the flag is byte 28 (PNG specification, 11.2.1), its CRC follows.
    plain = bytearray(png_bytes((4, 3), 8, 2, [bytes(12)] * 3))
    plain[28] = 1
    plain[29:33] = struct.pack(">I", zlib.crc32(plain[12:29]))
    laced = tmp_path / "laced.png"
    laced.write_bytes(plain)
    found = stills.probe(laced, INTAKE, name="laced.png")
    assert found.interlaced and [r.code for r in found.reasons] == ["interlace-removed"]
    clear = saved(tmp_path / "c.png", "PNG", art().convert("RGBA"), icc_profile=b"not read here")
    found = stills.probe(clear, INTAKE, name="c.png")
    assert found.alpha and not found.interlaced
    assert stills.probe(saved(tmp_path / "p.jpg", "JPEG", progressive=True), INTAKE, name="p.jpg").interlaced


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("turn", [3, 6])
def test_size_is_told_after_the_turn(tmp_path: Path, kind: str, turn: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = turn
    path = saved(tmp_path / "art", kind, exif=exif)
    found = stills.probe(path, INTAKE, name=f"art.{kind.lower()}")
    assert found.orientation == turn
    assert found.size == ((32, 48) if turn == 6 else (48, 32))


def test_exif_behind_the_pixels_counts_too(tmp_path: Path) -> None:
    # PNG specification, table 5.1: eXIf may stand anywhere between IHDR and IEND.
    exif = Image.Exif()
    exif[0x0112] = 8
    whole = png_bytes((4, 3), 8, 2, [bytes(12)] * 3)
    path = tmp_path / "late.png"
    path.write_bytes(whole[:-12] + chunk(b"eXIf", exif.tobytes()[6:]) + whole[-12:])
    found = stills.probe(path, INTAKE, name="late.png")
    assert (found.orientation, found.size) == (8, (3, 4))


def test_a_kind_the_shop_does_not_take_is_refused_by_name(tmp_path: Path) -> None:
    formats = INTAKE.formats.model_copy(update={"stills": ("PNG",), "clips": ("PNG",)})
    intake = INTAKE.model_copy(update={"formats": formats})
    assert refusal(saved(tmp_path / "a", "JPEG"), intake) == "picture-kind"
    gif_clips_only = formats.model_copy(update={"clips": ("GIF",)})
    intake = INTAKE.model_copy(update={"formats": gif_clips_only})
    assert refusal(saved(tmp_path / "b", "GIF"), intake) == "picture-kind"


@pytest.mark.parametrize("kind", KINDS)
def test_the_pixel_cap_is_checked_on_the_header(tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path / "art", kind, art((200, 100)))
    stills.probe(path, INTAKE, name="art")  # what is built once, such as colour tables, may use small pictures
    monkeypatch.setattr(Image.Image, "load", lambda self: pytest.fail("was decoded"))
    for most in (0.0199, 0.0099, 0.001):  # just below, below half and far below 0.02 megapixels
        with pytest.raises(Refused) as caught:
            stills.probe(path, limited(picture_mpx=most), name="art")
        assert [r.code for r in caught.value.reasons] == ["picture-too-large"]
        assert "0.0 megapixels" in caught.value.reasons[0].what
    assert stills.probe(path, limited(picture_mpx=0.02), name="art").size == (200, 100)


def test_of_an_icon_of_several_sizes_the_largest_is_told(tmp_path: Path) -> None:
    from odd.others import files

    (icon,) = (odd for odd in files() if odd.name == "ico-largest")
    (tmp_path / "logo.ico").write_bytes(icon.data)
    found = stills.probe(tmp_path / "logo.ico", INTAKE, name="logo.ico")
    assert (found.format, found.size, [reason.code for reason in found.reasons]) == ("ICO", (66, 88), ["icon-largest"])
