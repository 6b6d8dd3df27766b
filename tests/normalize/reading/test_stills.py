"""What a picture is, read from its header; and its pixels, whatever state the file is in."""

from __future__ import annotations

import io
import json
import random
import struct
import subprocess
import sys
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


def test_what_is_no_picture_says_what_it_is(tmp_path: Path) -> None:
    path = tmp_path / "art.png"
    for data, code in [
        (b"", "picture-empty"),
        (b"Dear Ines, the lamps are in the other folder.", "picture-unknown"),
        (b"%PDF-1.7 ...", "picture-kind"),
        (b"8BPS\0\2......", "picture-broken"),
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


def test_a_misspelt_kind_in_the_rules_is_the_shops_fault(tmp_path: Path) -> None:
    formats = INTAKE.formats.model_copy(update={"stills": ("PNGG",)})
    with pytest.raises(ShopFault, match="PNGG"):
        stills.probe(saved(tmp_path / "a", "PNG"), INTAKE.model_copy(update={"formats": formats}), name="a")


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_cut_short_is_refused(tmp_path: Path, kind: str) -> None:
    path = saved(tmp_path / "art", kind, art((200, 100)))
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 2 // 3])
    assert refusal(path) == "picture-broken"


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


def test_of_a_stereo_photograph_the_first_picture_is_taken(tmp_path: Path) -> None:
    """CIPA DC-007 (MPO): a JPEG whose first picture any reader shows; Pillow writes it."""
    left, right = (Image.new("RGB", (48, 32), colour) for colour in ((200, 30, 30), (30, 30, 200)))
    left.save(tmp_path / "a.mpo", "MPO", save_all=True, append_images=[right], quality=95)
    found = stills.probe(tmp_path / "a.mpo", INTAKE, name="a.mpo")
    assert (found.format, found.frames, found.reasons) == ("JPEG", 1, ())
    red, _, blue = np.asarray(stills.load(tmp_path / "a.mpo", INTAKE, name="a.mpo"))[5, 5].astype(int)
    assert red > 150 > 60 > blue


def test_a_worker_imports_no_more_of_pillow_than_the_usual_kinds_need(tmp_path: Path) -> None:
    """Pillow has some 45 plugins. All kinds of intake.toml are known all the same, and a rarer one of Pillow's is."""
    saved(tmp_path / "a", "WEBP")
    code = (
        "import json, sys\n"
        "from pathlib import Path\n"
        "from keyturn.normalize.reading import stills\n"
        "from keyturn.shop import rulebook\n"
        "intake = rulebook.load().intake\n"
        f"read = stills.probe(Path({str(tmp_path / 'a')!r}), intake, name='a').format\n"
        "print(json.dumps([read, sum('ImagePlugin' in name for name in sys.modules)]))\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    kind, plugins = json.loads(ran.stdout)
    assert kind == "WEBP" and plugins < 12
    Image.new("RGB", (4, 4)).save(tmp_path / "b", "PCX")
    formats = INTAKE.formats.model_copy(update={"stills": ("PCX",)})
    assert stills.probe(tmp_path / "b", INTAKE.model_copy(update={"formats": formats}), name="b").format == "PCX"
