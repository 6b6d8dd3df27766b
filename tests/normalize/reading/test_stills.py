"""What a picture is, read from its header; and its pixels, whatever state the file is in."""

from __future__ import annotations

import errno
import io
import random
import struct
import warnings
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.normalize.reading import stills
from keyturn.shop import rulebook
from keyturn.shop.reasons import Kind, Refused, ShopFault

INTAKE = rulebook.load().intake
KINDS = {
    "PNG": {},
    "JPEG": {},
    "WEBP": {"quality": 80},
    "BMP": {},
    "TIFF": {},
    "GIF": {},
}


def limited(**caps: float) -> rulebook.Intake:
    return INTAKE.model_copy(update={"caps": INTAKE.caps.model_copy(update=caps)})


def art(size: tuple[int, int] = (48, 32)) -> Image.Image:
    y, x = np.mgrid[0 : size[1], 0 : size[0]]
    return Image.fromarray(np.stack([x * 5 % 256, y * 7 % 256, (x * y) % 256], -1).astype(np.uint8))


def saved(path: Path, kind: str, image: Image.Image | None = None, **how: object) -> Path:
    (image or art()).save(path, kind, **how)
    return path


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_bytes(size: tuple[int, int], bits: int, colour: int, rows: list[bytes], extra: bytes = b"") -> bytes:
    """A PNG by the letter of the specification, for what Pillow itself cannot write."""
    header = struct.pack(">IIBBBBB", *size, bits, colour, 0, 0, 0)
    pixels = zlib.compress(b"".join(b"\0" + row for row in rows))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + extra + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def refusal(path: Path, intake: rulebook.Intake = INTAKE, name: str = "lamps/01.png") -> str:
    """The code of the one reason `path` is refused for, which must name the file and a mend."""
    with pytest.raises(Refused) as caught:
        stills.probe(path, intake, name=name)
        stills.load(path, intake, name=name)
    (reason,) = caught.value.reasons
    assert reason.file == name and reason.kind is Kind.REFUSE and reason.mend
    return reason.code


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_known_by_its_contents(tmp_path: Path, kind: str) -> None:
    path = saved(tmp_path / "art", kind, **KINDS[kind])
    found = stills.probe(path, INTAKE, name=f"art.{kind.lower()}")
    assert (found.format, found.size, found.frames, found.reasons) == (kind, (48, 32), 1, ())
    assert stills.load(path, INTAKE, name="art").size == (48, 32)


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
    assert found.alpha and found.has_profile and not found.interlaced
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


def test_what_is_no_picture_says_what_it_is(tmp_path: Path) -> None:
    path = tmp_path / "art.png"
    for data, code in [
        (b"", "picture-empty"),
        (b"Dear Ines, the lamps are in the other folder.", "picture-unknown"),
        (b"%PDF-1.7 ...", "picture-kind"),
        (b"8BPS\0\2......", "picture-kind"),
        (b"RIFF....AVI LIST", "picture-kind"),
        (b"8BPS\0\1......", "picture-broken"),
        (b"\0\0\0\x18ftypheic....", "picture-broken"),
        (b"\0\0\0\x18ftypisom....", "picture-broken"),
        (b"\x1a\x45\xdf\xa3....", "picture-broken"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'", "picture-broken"),
        (b"\x89PNG\r\n\x1a\nand no more", "picture-broken"),
    ]:
        path.write_bytes(data)
        assert refusal(path) == code


def test_a_kind_the_shop_does_not_take_is_refused_by_name(tmp_path: Path) -> None:
    formats = INTAKE.formats.model_copy(update={"stills": ("PNG",), "clips": ("PNG",)})
    intake = INTAKE.model_copy(update={"formats": formats})
    assert refusal(saved(tmp_path / "a", "JPEG"), intake) == "picture-kind"
    gif_clips_only = formats.model_copy(update={"clips": ("GIF",)})
    intake = INTAKE.model_copy(update={"formats": gif_clips_only})
    assert refusal(saved(tmp_path / "b", "GIF"), intake) == "picture-kind"


def test_a_misspelt_kind_in_the_rules_is_the_shops_fault(tmp_path: Path) -> None:
    formats = INTAKE.formats.model_copy(update={"stills": ("PNGG",)})
    with pytest.raises(ShopFault, match="PNGG"):
        stills.probe(saved(tmp_path / "a", "PNG"), INTAKE.model_copy(update={"formats": formats}), name="a")


@pytest.mark.parametrize("kind", KINDS)
def test_the_pixel_cap_is_checked_on_the_header(tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path / "art", kind, art((200, 100)))
    monkeypatch.setattr(Image.Image, "load", lambda self: pytest.fail("was decoded"))
    for most in (0.0199, 0.0099, 0.001):  # just below, below half and far below 0.02 megapixels
        with pytest.raises(Refused) as caught:
            stills.probe(path, limited(picture_mpx=most), name="art")
        assert [r.code for r in caught.value.reasons] == ["picture-too-large"]
        assert "0.0 megapixels" in caught.value.reasons[0].what
    assert stills.probe(path, limited(picture_mpx=0.02), name="art").size == (200, 100)


def test_a_header_that_promises_too_much_allocates_nothing(tmp_path: Path) -> None:
    path = tmp_path / "bomb.png"
    path.write_bytes(png_bytes((100_000, 100_000), 8, 2, [b""]))
    assert refusal(path) == "picture-too-large"


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_cut_short_is_refused(tmp_path: Path, kind: str) -> None:
    path = saved(tmp_path / "art", kind, art((200, 100)))
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 2 // 3])
    assert refusal(path) == "picture-broken"


def test_faults_of_the_shops_disk_pass_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path / "a.png", "PNG")
    with pytest.raises(IsADirectoryError):
        stills.probe(tmp_path, INTAKE, name="a.png")
    for code in (errno.EIO, errno.ESTALE, errno.EMFILE):
        failing = OSError(code, "as the disk says")
        monkeypatch.setattr(Image, "open", lambda *_, error=failing, **__: (_ for _ in ()).throw(error))
        with pytest.raises(OSError, match="as the disk says") as caught:
            stills.load(path, INTAKE, name="a.png")
        assert caught.value is failing
    monkeypatch.setattr(Image, "open", lambda *_, **__: (_ for _ in ()).throw(MemoryError()))
    assert refusal(path) == "picture-too-large"


def test_process_wide_state_is_left_as_it_was(tmp_path: Path) -> None:
    before = Image.MAX_IMAGE_PIXELS, list(warnings.filters)
    path = saved(tmp_path / "a.png", "PNG")
    stills.load(path, INTAKE, name="a.png")
    path.write_bytes(path.read_bytes()[:100])
    refusal(path)
    assert (Image.MAX_IMAGE_PIXELS, list(warnings.filters)) == before


def corrupted(whole: bytes, dice: random.Random) -> bytes:
    data = bytearray(whole)
    for _ in range(dice.randint(1, 6)):
        at = dice.randrange(len(data))
        match dice.randrange(5):
            case 0:
                data[at] ^= 1 << dice.randrange(8)
            case 1:
                data[at : at + 4] = dice.randbytes(4)
            case 2:
                data[at : at + 8] = dice.choice([b"\0" * 8, b"\xff" * 8])
            case 3:
                del data[at : at + dice.randint(1, 40)]
            case 4:
                data = data[: max(at, 12)]
        data = data or bytearray(1)
    return bytes(data)


@pytest.mark.parametrize(
    ("kind", "how"),
    [*KINDS.items(), ("TIFF", {"compression": "tiff_lzw"}), ("WEBP", {"lossless": True})],
    ids=[*KINDS, "TIFF-LZW", "WEBP-lossless"],
)
def test_garbage_is_loaded_or_refused_and_nothing_else(tmp_path: Path, kind: str, how: dict[str, object]) -> None:
    whole = saved(tmp_path / "whole", kind, **how).read_bytes()
    path = tmp_path / "hurt"
    refused = 0
    for number in range(200):
        path.write_bytes(corrupted(whole, random.Random(number)))
        try:
            stills.probe(path, INTAKE, name="hurt")
            stills.load(path, INTAKE, name="hurt").convert("RGBA")
        except Refused as refusal:
            refused += 1
            assert refusal.reasons[0].file == "hurt"
    assert 20 < refused <= 200


def test_sixteen_bits_are_rounded_not_cut(tmp_path: Path) -> None:
    # PNG specification, 12.4: the accurate scaling is floor(v * 255 / 65535 + 0.5). All 65,536 values.
    values = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    wanted = np.floor(values.astype(float) * 255 / 65535 + 0.5)
    colours = np.stack([values, values[::-1], values.T], -1)
    for name, stored, kind in [("grey", values[..., None], 0), ("colour", colours, 2)]:
        path = tmp_path / f"{name}.png"
        rows = [row.astype(">u2").tobytes() for row in stored]
        path.write_bytes(png_bytes((256, 256), 16, kind, rows))
        got = np.asarray(stills.load(path, INTAKE, name=name).convert("RGB"))
        assert (got[..., 0] == wanted).all()
    assert (got[..., 1] == wanted[::-1]).all() and (got[..., 2] == wanted.T).all()


@pytest.mark.parametrize("colour", [4, 6])
def test_sixteen_bit_alpha_is_rounded_as_well(tmp_path: Path, colour: int) -> None:
    samples = np.random.default_rng(colour).integers(0, 65536, (40, 30, 2 if colour == 4 else 4))
    path = tmp_path / "a.png"
    path.write_bytes(png_bytes((30, 40), 16, colour, [row.astype(">u2").tobytes() for row in samples]))
    got = np.asarray(stills.load(path, INTAKE, name="a"))
    assert (got == np.floor(samples * 255 / 65535 + 0.5)).all()


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("compression", ["none", "zlib"])
def test_sixteen_bit_tiff_is_rounded_in_either_byte_order(tmp_path: Path, order: str, compression: str) -> None:
    import tifffile  # comes with scikit-image: an independent writer

    samples = np.random.default_rng(5).integers(0, 65536, (20, 33, 3)).astype(np.uint16)
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, samples, photometric="rgb", byteorder=order, compression=None if compression == "none" else compression
    )
    assert stills.probe(path, INTAKE, name="a.tif").bits == 16
    got = np.asarray(stills.load(path, INTAKE, name="a.tif"))
    assert (got == np.floor(samples.astype(float) * 255 / 65535 + 0.5)).all()


def test_one_transparent_colour_is_found_at_its_own_depth(tmp_path: Path) -> None:
    # PNG specification, 11.3.1.1 (tRNS): compared at the depth of the file, in its unscaled samples.
    key = chunk(b"tRNS", struct.pack(">HHH", 257, 258, 259))
    near = np.array([[[257, 258, 259], [256, 258, 259]]], ">u2")
    path = tmp_path / "a.png"
    path.write_bytes(png_bytes((2, 1), 16, 2, [near.tobytes()], key))
    assert list(np.asarray(stills.load(path, INTAKE, name="a"))[0, :, 3]) == [0, 255]
    path.write_bytes(png_bytes((4, 1), 4, 0, [bytes([0x07, 0x8F])], chunk(b"tRNS", b"\0\x07")))
    assert list(np.asarray(stills.load(path, INTAKE, name="a").convert("LA"))[0, :, 1]) == [255, 0, 255, 255]
    path.write_bytes(png_bytes((2, 1), 16, 0, [struct.pack(">HH", 511, 512)], chunk(b"tRNS", b"\x02\0")))
    assert list(np.asarray(stills.load(path, INTAKE, name="a").convert("LA"))[0, :, 1]) == [255, 0]


def test_inks_are_read_the_right_way_round_with_and_without_the_app14_marker(tmp_path: Path) -> None:
    # libjpeg's libjpeg.txt, "Special color spaces": files with the marker hold inverted inks.
    inks = Image.new("CMYK", (16, 16), (255, 0, 0, 0))
    file = io.BytesIO()
    inks.save(file, "JPEG", quality=100)
    marked = file.getvalue()
    at = marked.index(b"\xff\xee")
    length = 2 + int.from_bytes(marked[at + 2 : at + 4], "big")
    assert b"\x41\x64\x6f\x62\x65" in marked[at : at + length]
    path = tmp_path / "a.jpg"
    path.write_bytes(marked)
    assert np.abs(np.asarray(stills.load(path, INTAKE, name="a"))[8, 8].astype(int) - [255, 0, 0, 0]).max() <= 2
    path.write_bytes(marked[:at] + marked[at + length :])  # the same numbers, now meaning what they say
    assert np.abs(np.asarray(stills.load(path, INTAKE, name="a"))[8, 8].astype(int) - [0, 255, 255, 255]).max() <= 2
