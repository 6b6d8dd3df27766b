"""The zip, read back by programs and readers that are not Keyturn's."""

import ctypes
import hashlib
import os
import random
import shutil
import struct
import subprocess
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.package import zip_writer
from keyturn.package.zip_writer import ZipWriter
from keyturn.radio import desc
from keyturn.radio.desc import Desc, Row
from keyturn.renumber.order import frame_name, part_name
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

RULES = rulebook.load()
TALL = RULES.radio("tall-768x1024")
PLAN = Desc(768, 1024, 12, (Row("p", 1, 6, "part0"), Row("p", 0, 0, "part1", "#0b1d2a")))
GREY = bytes(64) * 400
"""Data that any deflating writer would shrink: tiny or random entries come out stored from any tool."""


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(not shutil.which(program), reason=f"needs {program}")


def entries() -> list[tuple[str, bytes]]:
    frames = [(f"part0/{frame_name(i, 12, '.png')}", GREY + bytes([i])) for i in range(12)]
    return [("desc.txt", desc.write(PLAN)), *frames, ("part1/0001.png", GREY), ("part1/0002.png", b"")]


def written(path: Path, parts: list[tuple[str, bytes]] | None = None) -> Path:
    with ZipWriter(path) as pack:
        for name, data in entries() if parts is None else parts:
            pack.add(name, data)
    return path


# -- independent readers ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Local:
    name: str
    data: bytes
    flags: int
    method: int
    when: tuple[int, int]
    extra: int


def local_headers(raw: bytes) -> list[Local]:
    """Walks the local headers from the first byte, by the table of APPNOTE 4.3.7, without the directory."""
    at, found = 0, []
    while raw[at : at + 4] == b"PK\x03\x04":
        _need, flags, method, time, date, crc, packed, size, name_len, extra_len = struct.unpack_from(
            "<5H3I2H", raw, at + 4
        )
        name_at = at + 30
        data_at = name_at + name_len + extra_len
        data = raw[data_at : data_at + packed]
        assert size == packed and zlib.crc32(data) == crc
        found.append(Local(raw[name_at : name_at + name_len].decode(), data, flags, method, (date, time), extra_len))
        at = data_at + packed
    assert raw[at : at + 4] == b"PK\x01\x02"
    return found


LIBC = ctypes.CDLL(None)


def player_rows(text: bytes) -> tuple[tuple[int, int, int] | None, list[tuple[str, int, int, str, str]]]:
    """desc.txt as the reference player's loop reads it, with C's own sscanf.

    AOSP, cmds/bootanimation: each line is looked for by its newline; where none is left, reading stops.
    """
    size: tuple[int, int, int] | None = None
    rows = []
    while (end := text.find(b"\n")) >= 0:
        line, text = text[:end], text[end + 1 :]
        w, h, fps, count, pause = (ctypes.c_int() for _ in range(5))
        kind, path, colour = ctypes.c_char(), ctypes.create_string_buffer(256), ctypes.create_string_buffer(7)
        ref = ctypes.byref
        if LIBC.sscanf(line, b"%d %d %d", ref(w), ref(h), ref(fps)) == 3:
            size = (w.value, h.value, fps.value)
        elif LIBC.sscanf(line, b" %c %d %d %255s #%6s", ref(kind), ref(count), ref(pause), path, colour) >= 4:
            rows.append((kind.value.decode(), count.value, pause.value, path.value.decode(), colour.value.decode()))
    return size, rows


# -- the zip ----------------------------------------------------------------------------------------


@pytest.mark.system
@needs("unzip")
def test_unzip_finds_nothing_wrong(tmp_path: Path):
    done = subprocess.run(["unzip", "-t", written(tmp_path / "a.zip")], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "No errors detected" in done.stdout


@pytest.mark.system
@needs("zipinfo")
def test_zipinfo_shows_only_stored_plain_files_at_the_root(tmp_path: Path):
    path = written(tmp_path / "a.zip")
    done = subprocess.run(["zipinfo", "-l", "--h-t", path], capture_output=True, text=True, check=True)
    lines = [line.split() for line in done.stdout.splitlines()]
    assert len(lines) == len(entries())
    for fields, (name, data) in zip(lines, entries(), strict=True):
        assert fields[0] == "-rw-r--r--" and fields[2] == "unx"
        assert (fields[3], fields[5]) == (str(len(data)), str(len(data)))
        assert fields[6] == "stor" and fields[4] == "b-"  # "-": neither extra field nor data descriptor
        assert fields[7] == "80-Jan-01" and fields[9] == name


@pytest.mark.system
@needs("unzip")
def test_unzip_lays_out_the_same_files(tmp_path: Path):
    subprocess.run(["unzip", "-q", written(tmp_path / "a.zip"), "-d", tmp_path / "out"], check=True)
    for name, data in entries():
        assert (tmp_path / "out" / name).read_bytes() == data


def test_the_bytes_follow_the_application_note(tmp_path: Path):
    found = local_headers(written(tmp_path / "a.zip").read_bytes())
    assert [(e.name, e.data) for e in found] == entries()
    assert {(e.flags, e.method, e.extra) for e in found} == {(0, 0, 0)}
    # APPNOTE 4.4.6, MS-DOS date: years since 1980 in bits 9-15, month 5-8, day 0-4.
    assert {e.when for e in found} == {(0b0000000_0001_00001, 0)}


@pytest.mark.parametrize("count", [0, 1, 15])
def test_the_length_is_known_before_it_is_written(tmp_path: Path, count: int):
    parts = entries()[:count]
    size = written(tmp_path / "bootanimation.zip", parts).stat().st_size
    assert zip_writer.zip_bytes((name, len(data)) for name, data in parts) == size


def test_pythons_zipfile_agrees(tmp_path: Path):
    with zipfile.ZipFile(written(tmp_path / "a.zip")) as archive:
        assert archive.testzip() is None
        assert [(i.filename, archive.read(i)) for i in archive.infolist()] == entries()
        assert {(i.compress_type, i.date_time[:3], i.extra) for i in archive.infolist()} == {(0, (1980, 1, 1), b"")}


def test_the_player_reads_the_rows_that_were_meant(tmp_path: Path):
    text = local_headers(written(tmp_path / "a.zip").read_bytes())[0].data
    meant = [(r.type, r.count, r.pause, r.path, (r.colour or "").lstrip("#")) for r in PLAN.rows]
    assert player_rows(text) == ((768, 1024, 12), meant)
    # The trap that our file must avoid, which also shows that this reader can tell: no last newline, no last row.
    assert player_rows(text.rstrip(b"\n")) == ((768, 1024, 12), meant[:1])


def test_the_player_finds_every_frame_by_its_rows_path(tmp_path: Path):
    found = local_headers(written(tmp_path / "a.zip").read_bytes())
    _, rows = player_rows(found[0].data)
    framed = {e.name.rpartition("/")[0] for e in found[1:]}
    assert framed == {row[3] for row in rows}
    assert not any(e.name.endswith("/") for e in found)


def test_the_same_frames_give_the_same_bytes_whenever_and_whoever_writes(tmp_path: Path):
    first = written(tmp_path / "a.zip").read_bytes()
    before = os.umask(0o077)
    try:
        second = written(tmp_path / "later and elsewhere.zip").read_bytes()
    finally:
        os.umask(before)
    assert hashlib.sha256(first).digest() == hashlib.sha256(second).digest()


@settings(deadline=None, max_examples=40)
@given(st.lists(st.binary(max_size=300), min_size=1, max_size=30), st.integers(1, 13))
def test_any_frames_come_back_from_another_reader(tmp_path_factory, frames: list[bytes], parts: int):
    path = tmp_path_factory.mktemp("zip") / "a.zip"
    put = [
        (f"{part_name(p)}/{frame_name(i, len(frames), '.png')}", data)
        for p in range(parts)
        for i, data in enumerate(frames)
    ]
    assert [(e.name, e.data) for e in local_headers(written(path, put).read_bytes())] == put


def test_the_finished_file_is_synced(tmp_path: Path, monkeypatch):
    synced = []
    monkeypatch.setattr(os, "fsync", lambda fd: synced.append(os.fstat(fd).st_size))
    path = written(tmp_path / "a.zip")
    assert synced == [path.stat().st_size]  # after the last byte, not before


@pytest.mark.parametrize(
    "names",
    [
        ["part0/0002.png", "part0/0001.png"],
        ["part0/0001.png", "part0/0001.png"],
        ["part0/0001.png", "part1/0001.png", "part0/0002.png"],
        ["/desc.txt"],
        ["part0/../desc.txt"],
        ["part0/"],
        ["part0//0001.png"],
        ["part0\\0001.png"],
        ["part 0/0001.png"],
        ["lámpara.png"],
        ["desc.txt\n"],
        [""],
        ["part0/" + "n" * 250],
    ],
)
def test_names_that_only_a_fault_of_ours_could_make_are_rejected(tmp_path: Path, names: list[str]):
    with pytest.raises(ValueError, match=r"."), ZipWriter(tmp_path / "a.zip") as pack:
        for name in names:
            pack.add(name, b"x")
    assert not (tmp_path / "a.zip").exists()


def test_a_zip_given_up_leaves_no_file(tmp_path: Path):
    with pytest.raises(KeyError), ZipWriter(tmp_path / "a.zip") as pack:
        pack.add("desc.txt", b"x")
        raise KeyError
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("limit", "value"), [("MOST_BYTES", 4000), ("MOST_ENTRIES", 3)])
def test_what_outgrows_the_plain_format_is_refused(tmp_path: Path, monkeypatch, limit: str, value: int):
    monkeypatch.setattr(zip_writer, limit, value)
    put = [(f"part0/{frame_name(i, 20, '.png')}", bytes(200)) for i in range(20)]
    with pytest.raises(Refused) as caught:
        written(tmp_path / "a.zip", put)
    assert [r.code for r in caught.value.reasons] == ["zip-too-large"]
    assert not (tmp_path / "a.zip").exists()


def test_the_largest_plain_zip_is_within_its_limit_with_its_directory(tmp_path: Path, monkeypatch):
    put = [(f"part0/{frame_name(i, 20, '.png')}", bytes(200)) for i in range(20)]
    size = written(tmp_path / "a.zip", put).stat().st_size
    monkeypatch.setattr(zip_writer, "MOST_BYTES", size - 22)  # APPNOTE 4.3.16: the end record takes 22 bytes
    written(tmp_path / "b.zip", put)
    monkeypatch.setattr(zip_writer, "MOST_BYTES", size - 23)
    with pytest.raises(Refused):
        written(tmp_path / "c.zip", put)


@pytest.mark.system
@needs("sort")
def test_entries_of_a_part_stand_in_byte_order(tmp_path: Path):
    put = [(f"part0/{frame_name(i, 120, '.png')}", random.Random(i).randbytes(9)) for i in range(120)]
    names = [e.name for e in local_headers(written(tmp_path / "a.zip", put).read_bytes())]
    done = subprocess.run(
        ["sort"], input="\n".join(names), env={"LC_ALL": "C"}, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines() == names
