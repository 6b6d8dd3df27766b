"""Nothing of the artist but the picture is on the stick: no place, name, date, comment, profile or path."""

from __future__ import annotations

import io
import os
import re
import shutil
import struct
import subprocess
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image, ImageCms, TiffImagePlugin
from PIL.PngImagePlugin import PngInfo

from keyturn.commands import make_by_hand
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from samples import picture

SIZE = (48, 64)
SECRET = "Marigold"
"""In every place where a file can carry more than its picture; so also in the names of files and folders."""
WHEN = "2019:07:23 04:05:06"
MARKS = (SECRET.encode(), SECRET.encode("utf-16-le"), SECRET.encode("utf-16-be"), b"2019:07:23", b"2019-07-23")

PNG_PLAIN = {b"IHDR", b"PLTE", b"IDAT", b"IEND"}
"""PNG specification, third edition, 5.6: the critical chunks. All that tells of anything else is in others."""

JPEG_PLAIN = {0xD8, 0xDB, 0xC4, 0xDA, 0xD9, 0xC0, 0xC1, 0xC2, 0xDD, 0xE0}
"""ITU-T T.81, table B.1: start, tables, frame, scan, restart interval, end; and APP0, JFIF's own (ITU-T T.871)."""


# -- art that tells a lot ---------------------------------------------------------------------------


def exif() -> bytes:
    """Who, when, where, on what: tags by Exif 2.32 and TIFF 6.0; a thumbnail's place is told by MakerNote."""
    tags = Image.Exif()
    tags[0x010E] = tags[0x013B] = tags[0x8298] = tags[0x0131] = tags[0x010F] = SECRET
    tags[0x0132] = WHEN
    own = tags.get_ifd(0x8769)
    own[0x9003], own[0x9286], own[0x927C], own[0xA430] = WHEN, b"ASCII\0\0\0" + SECRET.encode(), b"note", SECRET
    gps = tags.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4] = "N", (51.0, 28.0, 40.0), "W", (0.0, 0.0, 5.0)
    gps[0x1B] = SECRET.encode()
    return tags.tobytes()


def profile() -> bytes:
    """sRGB under a name of the artist's own."""
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert "sRGB built-in".encode("utf-16-be") in made
    return made.replace("sRGB built-in".encode("utf-16-be"), SECRET.ljust(13).encode("utf-16-be"))


XMP = f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><creator>{SECRET}</creator></x:xmpmeta>'


def png(number: int) -> bytes:
    """In every ancillary chunk that can hold words or dates, in a private one, behind the end."""
    told = PngInfo()
    told.add_text("Author", SECRET)
    told.add_text("Comment", SECRET * 9, zip=True)
    told.add_itxt("XML:com.adobe.xmp", XMP)
    told.add(b"tIME", struct.pack(">HBBBBB", 2019, 7, 23, 4, 5, 6))
    told.add(b"prVt", SECRET.encode())
    out = io.BytesIO()
    picture(SIZE, number).save(out, "PNG", pnginfo=told, exif=exif(), icc_profile=profile())
    return out.getvalue() + SECRET.encode()


def plain_png(number: int) -> bytes:
    """Packed so well that its stream may pass as it is; the secret lies in it, behind the end of the picture's."""
    pixels = picture(SIZE, number).tobytes()
    rows = b"".join(b"\0" + pixels[row * 144 : row * 144 + 144] for row in range(64))
    stream = zlib.compress(rows, 9) + SECRET.encode()
    chunks = ((b"IHDR", struct.pack(">IIBBBBB", *SIZE, 8, 2, 0, 0, 0)), (b"IDAT", stream), (b"IEND", b""))
    body = (struct.pack(">I", len(d)) + name + d + struct.pack(">I", zlib.crc32(name + d)) for name, d in chunks)
    return b"\x89PNG\r\n\x1a\n" + b"".join(body)


def jpeg(number: int) -> bytes:
    out = io.BytesIO()
    more = {"exif": exif(), "icc_profile": profile(), "xmp": XMP.encode(), "comment": SECRET.encode()}
    picture(SIZE, number).save(out, "JPEG", quality=95, **more)
    iptc = b"Photoshop 3.0\x008BIM\x04\x04\0\0" + struct.pack(">I", 5 + len(SECRET)) + b"\x1c\x02\x50\0\x08"
    segment = iptc + SECRET.encode()
    data = out.getvalue()
    return data[:2] + b"\xff\xed" + struct.pack(">H", 2 + len(segment)) + segment + data[2:] + SECRET.encode()


def webp(number: int) -> bytes:
    out = io.BytesIO()
    picture(SIZE, number).save(out, "WEBP", lossless=True, exif=exif(), icc_profile=profile(), xmp=XMP.encode())
    return out.getvalue()


def tiff(number: int) -> bytes:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    for tag in (270, 305, 315, 316, 33432):
        tags[tag] = SECRET
    tags[306] = WHEN
    out = io.BytesIO()
    picture(SIZE, number).save(out, "TIFF", tiffinfo=tags, icc_profile=profile())
    return out.getvalue()


def gif(number: int) -> bytes:
    out = io.BytesIO()
    picture(SIZE, number).save(out, "GIF", comment=SECRET.encode())
    return out.getvalue()


ART: dict[str, Callable[[int], bytes]] = {"png": png, "jpg": jpeg, "webp": webp, "tif": tiff, "gif": gif}


def lay(root: Path, ending: str, make: Callable[[int], bytes], *, packed: bool = False) -> Path:
    """A drop whose files and folders are named after the artist and dated to a morning of 2019."""
    folder = root / f"{SECRET}-van" / f"{SECRET}s-lamps"
    folder.mkdir(parents=True)
    for number in range(1, 5):
        (folder / f"{SECRET}-{number:04d}.{ending}").write_bytes(make(number))
    (folder.parent / "job.toml").write_text(
        f'customer = "C"\njob = "van"\nartist = "{SECRET}"\nradio = ["tiny", "photos"]\n'
    )
    for path in (*folder.iterdir(), folder, folder.parent / "job.toml", folder.parent):
        os.utime(path, (1563854706, 1563854706))
    if not packed:
        return folder.parent
    with zipfile.ZipFile(root / "van.zip", "w") as archive:
        archive.comment = SECRET.encode()
        for path in sorted(folder.parent.rglob("*.*")):
            archive.write(path, path.relative_to(folder.parent))
    return root / "van.zip"


@pytest.fixture
def photos(shop: Shop) -> None:
    """One more radio, that takes nothing but JPEG."""
    text = (shop.rules / "radios" / "tiny.toml").read_text(encoding="utf-8")
    taken = re.sub(r"^(frame_formats|formats) = .*$", r'\1 = ["jpeg"]', text, flags=re.MULTILINE)
    assert taken.count('["jpeg"]') == 2
    (shop.rules / "radios" / "photos.toml").write_text(taken, encoding="utf-8")


def sticks(made: Path) -> dict[str, bytes]:
    """Every file of both sticks; of a zip also every entry."""
    found: dict[str, bytes] = {}
    for path in sorted(p for p in made.glob("usb*/**/*") if p.is_file()):
        found[path.relative_to(made).as_posix()] = path.read_bytes()
        if path.suffix == ".zip":
            archive = zipfile.ZipFile(path)
            found |= {f"{path.parent.name}/{info.filename}": archive.read(info) for info in archive.infolist()}
    return found


def chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at = 8
    while at < len(data):
        (length,) = struct.unpack_from(">I", data, at)
        yield data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += 12 + length
    assert at == len(data), "something follows the end"


def markers(data: bytes) -> Iterator[int]:
    """ITU-T T.81, B.1.1: each marker; after a scan's header all up to the next marker is the picture's own."""
    at = 0
    while at < len(data):
        assert data[at] == 0xFF
        marker = data[at + 1]
        yield marker
        at += 2
        if marker in (0xD8, 0xD9):
            continue
        at += int.from_bytes(data[at : at + 2], "big")
        if marker == 0xDA:
            at = re.compile(rb"\xff[^\x00\xd0-\xd7]").search(data, at).start()  # type: ignore[union-attr]


@pytest.mark.usefixtures("photos")
@pytest.mark.parametrize("packed", [False, True], ids=["folder", "zip"])
@pytest.mark.parametrize("ending", [*ART, "plain"])
def test_nothing_of_the_artist_but_the_picture_is_on_a_stick(
    shop: Shop, tmp_path: Path, bench: Bench, ending: str, packed: bool
) -> None:
    bench = Bench(rulebook.load(shop.rules), bench.crew, bench.now)
    make = ART.get(ending, plain_png)
    drop = lay(tmp_path / "art", ending if ending in ART else "png", make, packed=packed)
    folder = make_by_hand.make(drop, tmp_path / "out", bench).folder
    assert folder is not None
    files = sticks(folder)
    pictures = {name: data for name, data in files.items() if not name.endswith((".zip", ".txt"))}
    assert len([name for name in pictures if "usb-photos" in name]) >= 5
    assert len([name for name in pictures if "usb-tiny" in name]) >= 5
    for name, data in files.items():
        assert not [mark for mark in MARKS if mark in data or mark.decode("latin-1") in name], name
    for name, data in pictures.items():
        if data[:2] == b"\xff\xd8":
            assert set(markers(data)) <= JPEG_PLAIN, name
            assert "usb-photos" in name
        else:
            assert {kind for kind, _ in chunks(data)} <= PNG_PLAIN, name
            packed_pixels = b"".join(part for kind, part in chunks(data) if kind == b"IDAT")
            unpacker = zlib.decompressobj()
            unpacker.decompress(packed_pixels)
            assert unpacker.eof and not unpacker.unused_data, name
    for path in folder.glob("usb*/bootanimation.zip"):
        with zipfile.ZipFile(path) as archive:
            assert archive.comment == b""
            assert {(i.extra, i.comment, i.date_time) for i in archive.infolist()} == {
                (b"", b"", archive.infolist()[0].date_time)
            }
            assert archive.infolist()[0].date_time[0] == 1980, "the first year a zip can tell (APPNOTE 4.4.6)"


@pytest.mark.parametrize("ending", list(ART))
def test_the_art_of_these_tests_tells_a_lot(ending: str) -> None:
    data = ART[ending](1)
    assert any(mark in data for mark in MARKS)
    assert Image.open(io.BytesIO(data)).size == SIZE


@pytest.mark.system
@pytest.mark.usefixtures("photos")
@pytest.mark.parametrize("ending", ["png", "jpg"])
def test_another_program_finds_nothing_either(
    shop: Shop, tmp_path: Path, bench: Bench, needs: Callable[[str], str], ending: str
) -> None:
    """ImageMagick's identify lists profiles, comments and Exif: of the art a lot, of sticks nothing."""
    identify = [needs("identify"), "-verbose"]
    bench = Bench(rulebook.load(shop.rules), bench.crew, bench.now)
    drop = lay(tmp_path / "art", ending, ART[ending])
    folder = make_by_hand.make(drop, tmp_path / "out", bench).folder
    assert folder is not None
    telling = re.compile(rf"exif:|Profile-|icc:|comment:|xmp|Author|GPS|{SECRET}", re.IGNORECASE)

    def told(path: Path) -> list[str]:
        said = subprocess.run([*identify, path], capture_output=True, text=True, errors="replace", check=True).stdout
        return [line for line in said.splitlines() if telling.search(line)]

    (tmp_path / "seen").mkdir()
    art = shutil.copy(next(drop.rglob(f"*.{ending}")), tmp_path / "seen" / "art")
    assert len(told(art)) >= 5
    for number, (name, data) in enumerate(sticks(folder).items()):
        if name.endswith((".png", ".jpg")):
            path = tmp_path / "seen" / f"{number}{Path(name).suffix}"
            path.write_bytes(data)
            assert told(path) == [], name
