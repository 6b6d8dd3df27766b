"""A zip's directory is opened without trust; names are read as they were written, and none reaches outside."""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
import zlib

import pytest

from zip_samples import ZipBench, capped, needs, raw_zip, zipped


def test_one_top_folder_is_taken_off_two_are_not(bench: ZipBench):
    zipped(bench.zip, ("van/", b""), ("van/a/1.png", b"1"), ("van/b/1.png", b"2"))
    bench.unpack()
    assert set(bench.files()) == {"a/1.png", "b/1.png"}


def test_two_top_folders_stay(bench: ZipBench):
    zipped(bench.zip, ("a/1.png", b"1"), ("b/1.png", b"2"))
    bench.unpack()
    assert set(bench.files()) == {"a/1.png", "b/1.png"}


def test_backslashes_of_old_windows_tools_are_folders(bench: ZipBench):
    bench.zip.write_bytes(
        raw_zip((b"lamps\\", b"", 0, b""), (b"lamps\\1.png", b"1", 0, b""), (b"job.toml", b"", 0, b""))
    )
    bench.unpack()
    assert set(bench.files()) == {"lamps/1.png", "job.toml"}


def unicode_path(name: str, raw: bytes) -> bytes:
    """APPNOTE 4.6.9, Info-ZIP Unicode Path Extra Field: version, CRC-32 of the header's name, UTF-8 name."""
    field = struct.pack("<BI", 1, zlib.crc32(raw)) + name.encode()
    return struct.pack("<HH", 0x7075, len(field)) + field


@pytest.mark.parametrize(
    ("raw", "flags", "extra", "expected"),
    [
        (b"b\x94rek.png", 0, b"", "börek.png"),  # IBM code page 437: 0x94 is o with diaeresis
        ("börek.png".encode(), 0x800, b"", "börek.png"),  # APPNOTE 4.4.4, bit 11
        ("börek.png".encode(), 0, b"", "börek.png"),  # UTF-8 without its flag, as some desktop systems write
        ("bo\u0308rek.png".encode(), 0x800, b"", "börek.png"),  # decomposed, as some desktops' file systems give it
        (b"b?rek.png", 0, unicode_path("börek.png", b"b?rek.png"), "börek.png"),
        (b"b_rek.png", 0, unicode_path("elsewhere.png", b"renamed.png"), "b_rek.png"),  # void: CRC of another name
    ],
)
def test_names_are_read_in_the_code_page_they_were_written_in(bench: ZipBench, raw, flags, extra, expected):
    bench.zip.write_bytes(raw_zip((raw, b"x", flags, extra)))
    bench.unpack()
    assert set(bench.files()) == {expected}


@pytest.mark.system
@needs("unzip")
def test_unzip_reads_code_page_437_alike(bench: ZipBench):
    """Info-ZIP's unzip turns names of DOS origin (version made by 0) from OEM letters to Latin-1.

    Its table is code page 850 and leaves out 0x98; APPNOTE D.1 says 437. They are compared on what is shared.
    """
    codes = [bytes([c]) for c in range(0x80, 0xFF) if c != 0x98]
    shared = [c for c in codes if c.decode("cp437") == c.decode("cp850") and ord(c.decode("cp437")) < 0x100]
    raw = b"".join(shared)
    bench.zip.write_bytes(raw_zip((b"a" + raw, b"x", 0, b""), (b"b.png", b"y", 0, b"")))
    other = bench.into / "other"
    subprocess.run(["unzip", "-q", bench.zip, "-d", other], check=True, env=os.environ | {"LC_ALL": "C.UTF-8"})
    theirs = {in_utf8_or_latin1(os.fsencode(path.name)) for path in other.iterdir()}
    shutil.rmtree(other)
    bench.unpack()
    assert set(bench.files()) == theirs and len(raw) > 30


def in_utf8_or_latin1(name: bytes) -> str:
    try:
        return name.decode("utf-8")
    except UnicodeDecodeError:
        return name.decode("latin-1")


OUTSIDE = [
    "../evil",
    "a/../../evil",
    "/etc/evil",
    "\\evil",
    "..\\evil",
    "C:\\evil",
    "c:evil",
    "//host/share",
    "a/..",
    "./../x",
]


@pytest.mark.parametrize("name", OUTSIDE)
def test_paths_that_reach_outside_are_refused(bench: ZipBench, name: str):
    zipped(bench.zip, ("job.toml", b"x"), (name, b"x"))
    assert bench.codes() == ["zip-outside"]
    assert bench.files() == {}


def test_too_many_entries_are_refused_but_litter_does_not_count(bench: ZipBench):
    names = [(f"{n}.png", b"") for n in range(6)]
    zipped(bench.zip, *names, *((f"__MACOSX/._{n}.png", b"") for n in range(6)))
    assert bench.codes(capped(files=5)) == ["too-many-files"]
    assert [r.code for r in bench.unpack(capped(files=6))] == ["junk-skipped"]


def test_a_directory_of_very_many_entries_is_not_even_read(bench: ZipBench):
    bench.zip.write_bytes(raw_zip(*((f"{n:050d}".encode(), b"", 0, b"") for n in range(2000))))
    assert bench.codes(capped(files=5)) == ["too-many-files"]  # 192,000 bytes of directory for 5 files


def test_very_many_faulty_entries_give_one_reason(bench: ZipBench):
    zipped(bench.zip, *((f"../{n}", b"") for n in range(50)))
    assert bench.codes(capped(files=5)) == ["too-many-files"]


@pytest.mark.parametrize("data", [b"", b"PK", b"not a zip at all", b"\x89PNG\r\n\x1a\n" * 100])
def test_what_is_no_zip_is_refused(bench: ZipBench, data: bytes):
    bench.zip.write_bytes(data)
    assert bench.codes() == ["zip-broken"]


def test_a_zip_cut_short_is_refused(bench: ZipBench):
    zipped(bench.zip, ("a.png", bytes(5000)))
    bench.zip.write_bytes(bench.zip.read_bytes()[:3000])
    assert bench.codes() == ["zip-broken"]
