"""Stills decoded quickly: Pillow's pixels, and Pillow's refusals."""

from __future__ import annotations

import io
import random
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, PngImagePlugin

from keyturn.normalize import decode
from keyturn.normalize.fit import Fit
from keyturn.normalize.reading import stills
from keyturn.png import chunks
from keyturn.shop import fast_libraries, rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake
Change = Callable[[bytes], bytes]


def soft(size: tuple[int, int] = (61, 43), bands: int = 4) -> Image.Image:
    few = np.random.default_rng(5).integers(0, 256, (8, 9, bands), dtype=np.uint8)
    return Image.fromarray(few).resize(size, Image.Resampling.BICUBIC)


def saved(image: Image.Image, format: str = "PNG", **how: object) -> bytes:
    file = io.BytesIO()
    image.save(file, format, **how)
    return file.getvalue()


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def with_chunk(data: bytes, kind: bytes, content: bytes, before: bytes = b"IDAT") -> bytes:
    at = data.index(before) - 4
    return data[:at] + chunk(kind, content) + data[at:]


def outcome(read: Callable[[], Image.Image]) -> tuple[str, NDArray[np.uint8] | None, object]:
    """What became of it: the reason's code, or the pixels and what is to be done with them."""
    try:
        image = read()
    except Refused as refused:
        return refused.reasons[0].code, None, None
    about = {key: image.info.get(key) for key in ("icc_profile", "exif", "transparency")}
    return image.mode, np.asarray(image), about


def assert_alike(path: Path) -> str:
    quickly = outcome(lambda: decode.still(path, INTAKE, name="a.png"))
    plainly = outcome(lambda: stills.load(path, INTAKE, name="a.png"))
    if plainly[0] == "picture-broken" != quickly[0]:
        path.write_bytes(with_right_sum(path.read_bytes()))
        plainly = outcome(lambda: stills.load(path, INTAKE, name="a.png"))
    assert quickly[0] == plainly[0] and quickly[2] == plainly[2]
    assert (quickly[1] is None) == (plainly[1] is None)
    if quickly[1] is not None:
        assert (quickly[1] == plainly[1]).all()
    return quickly[0]


def with_right_sum(data: bytes) -> bytes:
    """A PNG of one IDAT with the Adler-32 that belongs to its pixels: that of zlib's own inflate (RFC 1950, 1951)."""
    start, stop = data.index(b"IDAT") + 4, data.index(b"IEND") - 8
    raw = zlib.decompress(data[start + 2 : stop - 4], -zlib.MAX_WBITS)
    stream = data[start : stop - 4] + struct.pack(">I", zlib.adler32(raw))
    return data[: start - 8] + chunk(b"IDAT", stream) + data[stop + 4 :]


def is_plain(data: bytes) -> bool:
    file = io.BytesIO(data)
    return decode.plain_png(Image.open(file), file) == data


DEEP = np.random.default_rng(1).integers(0, 65536, (20, 30), dtype=np.uint16)


def kinds() -> dict[str, tuple[bytes, bool]]:
    """Files, and whether they are plain."""
    exif = Image.Exif()
    exif[0x0112] = 6
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", "the van at dusk")
    keyed = soft(bands=3)
    return {
        "rgba": (saved(soft()), True),
        "rgb": (saved(soft(bands=3)), True),
        "one pixel": (saved(Image.new("RGB", (1, 1), (1, 2, 3))), True),
        "text, size, gamma": (with_chunk(saved(soft(), pnginfo=text, dpi=(72, 72)), b"gAMA", b"\0\0\xb1\x8f"), True),
        "many IDATs": (saved(soft((400, 300)), compress_level=0), True),
        "exif": (saved(soft(), exif=exif), False),
        "profile": (saved(soft(), icc_profile=b"a profile" * 20), False),
        "key": (saved(keyed, transparency=keyed.getpixel((3, 3))), False),
        "palette": (saved(soft(bands=3).quantize(16)), False),
        "grey": (saved(soft(bands=3).convert("L")), False),
        "grey and alpha": (saved(soft().convert("LA")), False),
        "16-bit grey": (saved(Image.fromarray(DEEP)), False),
        "unknown critical": (with_chunk(saved(soft()), b"ABCD", b"x"), False),
        "unknown": (with_chunk(saved(soft()), b"abCd", b"x"), False),
        "compressed text": (with_chunk(saved(soft()), b"zTXt", b"k\0\0" + zlib.compress(bytes(9))), False),
        "animated": (saved(soft(), save_all=True, append_images=[soft().rotate(90)]), False),
        "more behind": (saved(soft()) + b"litter", False),
    }


@pytest.mark.parametrize("kind", kinds())
def test_pixels_and_what_goes_with_them_are_pillows(tmp_path: Path, libraries: str, kind: str) -> None:
    data, plain = kinds()[kind]
    (tmp_path / "a.png").write_bytes(data)
    assert_alike(tmp_path / "a.png")
    assert is_plain(data) == plain


@pytest.mark.system
def test_deep_and_interlaced_pictures_stay_with_pillow(tmp_path: Path, needs: Callable[[str], str]) -> None:
    """Written by ImageMagick, for Pillow writes neither."""
    import subprocess

    soft(bands=3).save(tmp_path / "plain.png")
    for name, how in {"deep": ["-depth", "16", "-define", "png:bit-depth=16"], "laced": ["-interlace", "PNG"]}.items():
        path = tmp_path / f"{name}.png"
        subprocess.run([needs("convert"), tmp_path / "plain.png", "-evaluate", "add", "0.3%", *how, path], check=True)
        assert_alike(path)
        assert not is_plain(path.read_bytes())


@pytest.mark.parametrize("format", ["JPEG", "WEBP", "BMP", "TIFF", "GIF"])
def test_other_formats_are_pillows_own(tmp_path: Path, libraries: str, format: str) -> None:
    (tmp_path / "a").write_bytes(saved(soft(bands=3), format))
    assert_alike(tmp_path / "a")


# -- hostile files ----------------------------------------------------------------------------------


def flip(data: bytes, dice: random.Random) -> bytes:
    at = dice.randrange(8, len(data))
    return data[:at] + bytes([data[at] ^ 1 << dice.randrange(8)]) + data[at + 1 :]


def cut(data: bytes, dice: random.Random) -> bytes:
    return data[: dice.randrange(len(data))]


def in_stream(data: bytes, dice: random.Random) -> bytes:
    """A fault within the deflate stream, under a checksum of the chunk that is right."""
    start, stop = data.index(b"IDAT") + 4, data.index(b"IEND") - 8
    at = dice.choice([dice.randrange(start, stop), stop - 1 - dice.randrange(4)])
    spoilt = data[start:at] + bytes([data[at] ^ 1 << dice.randrange(8)]) + data[at + 1 : stop]
    return data[: start - 8] + chunk(b"IDAT", spoilt) + data[stop + 4 :]


def other_size(data: bytes, dice: random.Random) -> bytes:
    """A header that promises more or fewer rows than there are."""
    wide, high = struct.unpack(">II", data[16:24])
    head = struct.pack(">II", wide, max(1, high + dice.choice([-9, -1, 1, 9]))) + data[24:29]
    return data[:8] + chunk(b"IHDR", head) + data[33:]


def twice(data: bytes, dice: random.Random) -> bytes:
    """A chunk of it once more, somewhere."""
    parts = [data[chunk.start - 8 : chunk.end] for chunk in chunks.walk(io.BytesIO(data))]
    parts.insert(dice.randrange(len(parts) + 1), dice.choice(parts))
    return data[:8] + b"".join(parts)


def bad_filter(data: bytes, dice: random.Random) -> bytes:
    start, stop = data.index(b"IDAT") + 4, data.index(b"IEND") - 8
    raw = bytearray(zlib.decompress(data[start:stop]))
    row = len(raw) // struct.unpack(">I", data[20:24])[0]
    raw[row * dice.randrange(len(raw) // row)] = dice.choice([5, 200])
    return data[: start - 8] + chunk(b"IDAT", zlib.compress(bytes(raw))) + data[stop + 4 :]


def stream_length(data: bytes, dice: random.Random) -> bytes:
    """More or fewer rows in a sound stream than the header says."""
    start, stop = data.index(b"IDAT") + 4, data.index(b"IEND") - 8
    raw = zlib.decompress(data[start:stop])
    raw = raw + bytes(dice.choice([1, 700])) if dice.random() < 0.5 else raw[: -dice.choice([1, 700])]
    return data[: start - 8] + chunk(b"IDAT", zlib.compress(raw)) + data[stop + 4 :]


@pytest.mark.parametrize("change", [flip, cut, in_stream, other_size, twice, bad_filter, stream_length])
def test_what_pillow_refuses_is_refused_and_what_it_takes_is_the_same(
    tmp_path: Path, libraries: str, change: Callable[[bytes, random.Random], bytes]
) -> None:
    path = tmp_path / "a.png"
    dice = random.Random(change.__name__)
    met = set()
    for i in range(60):
        path.write_bytes(change(saved(soft(bands=3 + i % 2)), dice))
        met.add(assert_alike(path))
    assert "picture-broken" in met or change in (flip, twice, stream_length, other_size)


def test_a_picture_beyond_the_limit_is_refused_before_it_is_decoded(tmp_path: Path, libraries: str) -> None:
    small = INTAKE.model_copy(update={"caps": INTAKE.caps.model_copy(update={"picture_mpx": 0.001})})
    soft().save(tmp_path / "a.png")
    with pytest.raises(Refused) as refused:
        decode.still(tmp_path / "a.png", small, name="a.png")
    assert refused.value.reasons[0].code == "picture-too-large"


def test_a_decoder_that_complains_hands_back_to_pillow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kornia = pytest.importorskip(fast_libraries.DECODE)
    soft().save(tmp_path / "a.png")

    def complain(*args: object, **named: object) -> None:
        raise Exception("no memory for this")

    monkeypatch.setattr(kornia.io, "decode_image_png_u8", complain)
    assert assert_alike(tmp_path / "a.png") == "RGBA"


# -- JPEG at a fraction -----------------------------------------------------------------------------


def test_a_large_photograph_is_decoded_at_a_fraction_that_leaves_detail(tmp_path: Path) -> None:
    photo = soft((1600, 1200), 3)
    photo.save(tmp_path / "a.jpg", quality=92)
    for fit, size in [
        (Fit((768, 1024)), (1600, 1200)),
        (Fit((300, 400)), (800, 600)),
        (Fit((300, 400), "contain"), (400, 300)),
        (Fit((96, 96)), (200, 150)),
    ]:
        made = decode.still(tmp_path / "a.jpg", INTAKE, name="a.jpg", fit=fit)
        assert made.size == (size if fit.mode == "cover" else (800, 600)), fit
    assert decode.still(tmp_path / "a.jpg", INTAKE, name="a.jpg").size == (1600, 1200)


def test_a_turned_photograph_is_measured_as_it_will_be_shown(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    soft((1600, 400), 3).save(tmp_path / "a.jpg", exif=exif)
    # Upright it is 400 x 1600: the panel's 200 of width need all but half of it, its height alone an eighth.
    assert decode.still(tmp_path / "a.jpg", INTAKE, name="a.jpg", fit=Fit((200, 100))).size == (1600, 400)
    assert decode.still(tmp_path / "a.jpg", INTAKE, name="a.jpg", fit=Fit((100, 200))).size == (800, 200)
    soft((1600, 1200), 3).save(tmp_path / "a.jpg", exif=exif)
    assert decode.still(tmp_path / "a.jpg", INTAKE, name="a.jpg", fit=Fit((300, 400))).size == (800, 600)
    assert decode.still(tmp_path / "a.jpg", INTAKE, name="a.jpg", fit=Fit((600, 400))).size == (1600, 1200)


def test_a_fraction_is_chosen_by_the_side_that_needs_more_detail(tmp_path: Path) -> None:
    soft((1600, 1200), 3).save(tmp_path / "a.jpg", quality=95)
    for panel, wanted in [((100, 100), (200, 150)), ((400, 400), (800, 600)), ((600, 401), (1600, 1200))]:
        assert decode.still(tmp_path / "a.jpg", INTAKE, name="a", fit=Fit(panel)).size == wanted


def test_decoding_small_is_not_seen_in_the_frame(tmp_path: Path) -> None:
    # 40 dB is where differences between two pictures stop being seen (common practice, no source).
    y, x = np.mgrid[0:80, 0:60]
    art = Image.fromarray(np.stack([x * 5 % 256, y * 7 % 256, (x * y) % 256], -1).astype(np.uint8))
    art.resize((1500, 2000), Image.Resampling.BICUBIC).save(tmp_path / "a.jpg", quality=95)
    small, whole = (
        np.asarray(
            decode.still(tmp_path / "a.jpg", INTAKE, name="a", fit=fit).resize((384, 512), Image.Resampling.LANCZOS)
        )
        for fit in (Fit((384, 512)), None)
    )
    noise = np.mean((small.astype(float) - whole) ** 2)
    assert noise > 0 and 10 * np.log10(255**2 / noise) > 40


@pytest.mark.parametrize("ending", ["png", "jpg", "gif", "bmp"])
def test_a_file_that_was_damaged_on_the_way_is_found(tmp_path: Path, ending: str) -> None:
    """Cut short anywhere, or, where the format has checksums, with one byte changed. Pillow reads the whole one."""
    path = tmp_path / f"lamp.{ending}"
    Image.effect_noise((60, 40), 50).convert("RGB").save(path)
    data = path.read_bytes()
    decode.check_undamaged(path, INTAKE, name="lamp")
    dice = np.random.default_rng(3)
    spoiled = [data[:length] for length in dice.integers(0, len(data) - 8, 20)]
    if ending == "png":
        places = dice.integers(0, len(data), 40)
        spoiled += [data[:at] + bytes([data[at] ^ 1 << int(at) % 8]) + data[at + 1 :] for at in places]
    for each in spoiled:
        path.write_bytes(each)
        with pytest.raises(Refused):
            decode.check_undamaged(path, INTAKE, name="lamp")


def test_a_png_of_sound_checksums_is_not_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Image.new("RGBA", (9, 9)).save(tmp_path / "lamp.png")
    monkeypatch.setattr(decode.stills, "decoded", None)
    decode.check_undamaged(tmp_path / "lamp.png", INTAKE, name="lamp")
