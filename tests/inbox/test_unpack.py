"""An artist's zip comes out whole, or is refused with everything that is wrong with it; nothing gets outside."""

from __future__ import annotations

import hashlib
import io
import os
import random
import shutil
import stat
import struct
import subprocess
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from keyturn.inbox.unpack import unpack
from keyturn.shop.reasons import Refused
from zip_samples import DROP, INTAKE, MIB, ZipBench, capped, entry, lay_out, needs, raw_zip, zipped


@pytest.mark.system
@needs("zip")
@pytest.mark.parametrize("options", [["-r"], ["-r", "-0"], ["-r", "-D"], ["-r", "-fz"], ["-r", "-fd"]])
@pytest.mark.parametrize("whole", [True, False])
def test_a_zip_made_by_info_zip_comes_out_as_the_folder_was(tmp_path: Path, options: list[str], whole: bool):
    """Deflated, stored, without folder entries, with zip64 fields, with data descriptors."""
    folder = lay_out(tmp_path / "src" / "fern hollow")
    cwd, what = (folder.parent, folder.name) if whole else (folder, ".")
    place = tmp_path / "bench"
    place.mkdir()
    bench = ZipBench(place)
    subprocess.run(["zip", "-q", *options, bench.zip, what], cwd=cwd, check=True)
    assert bench.unpack() == ()
    assert bench.files() == DROP


@pytest.mark.system
@needs("zip")
def test_a_zip_streamed_through_a_pipe_comes_out(bench: ZipBench, tmp_path: Path):
    folder = lay_out(tmp_path / "in" / "unpacked" / "src")
    bench.zip.write_bytes(subprocess.run(["zip", "-qr", "-", "."], cwd=folder, check=True, capture_output=True).stdout)
    shutil.rmtree(folder)
    assert bench.unpack() == ()
    assert bench.files() == DROP


def test_modes_and_times_of_the_zip_are_ignored(bench: ZipBench):
    old = entry("run.png", mode=0o104777)
    old.date_time = (1990, 1, 1, 0, 0, 0)
    zipped(bench.zip, (old, b"x"), ("locked.png", b"y"), (entry("zero.png", mode=0), b"z"))
    bench.unpack()
    umask = os.umask(0)
    os.umask(umask)
    for path in bench.into.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~umask
        assert path.stat().st_mtime > 1e9


def test_litter_is_skipped_and_said(bench: ZipBench):
    zipped(
        bench.zip,
        ("van/job.toml", b"x"),
        ("van/.DS_Store", b"x"),
        ("__MACOSX/van/._job.toml", b"x"),
        ("van/Thumbs.db", b"x"),
    )
    (reason,) = bench.unpack()
    assert (reason.code, reason.kind) == ("junk-skipped", "mended") and "3 files" in reason.what
    assert bench.files() == {"job.toml": b"x"}


# -- bombs ------------------------------------------------------------------------------------------


def test_an_entry_that_unpacks_to_far_more_than_its_size_is_refused(bench: ZipBench):
    zipped(bench.zip, ("job.toml", b"x"), (entry("bomb.bmp", method=zipfile.ZIP_DEFLATED), bytes(8 * MIB)))
    packed = zipfile.ZipFile(bench.zip).getinfo("bomb.bmp").compress_size
    (reason,) = bench.refused()
    assert (reason.code, reason.file) == ("zip-bomb", "bomb.bmp")
    assert len(bench.files()["bomb.bmp"]) <= packed * INTAKE.caps.zip_ratio


def test_small_entries_may_be_squeezed_as_much_as_they_like(bench: ZipBench):
    zipped(bench.zip, (entry("flat.bmp", method=zipfile.ZIP_DEFLATED), bytes(MIB)))
    assert bench.unpack() == ()


def test_a_packed_size_that_lies_does_not_hide_a_bomb(bench: ZipBench):
    zipped(bench.zip, (entry("bomb.bmp", method=zipfile.ZIP_DEFLATED), bytes(8 * MIB)))
    raw = bytearray(bench.zip.read_bytes())
    at = raw.rindex(b"PK\1\2")
    struct.pack_into("<I", raw, at + 20, 0x7FFFFFFF)  # APPNOTE 4.3.12: compressed size
    bench.zip.write_bytes(raw)
    assert bench.codes() in (["zip-bomb"], ["zip-broken"])  # newer Pythons see that the entry overlaps the directory
    assert len(bench.files().get("bomb.bmp", b"")) < 8 * MIB


def test_the_cap_on_one_file_counts_what_comes_out(bench: ZipBench):
    zipped(
        bench.zip, ("job.toml", b"x"), ("large.png", random.Random(1).randbytes(2 * MIB)), ("also.png", bytes(3 * MIB))
    )
    reasons = bench.refused(capped(file_mib=1))
    assert [(r.code, r.file) for r in reasons] == [("file-too-large", "large.png"), ("file-too-large", "also.png")]


def test_the_cap_on_the_drop_stops_the_work(bench: ZipBench):
    zipped(bench.zip, *((f"{n}.png", bytes(MIB // 2)) for n in range(10)))
    (reason,) = bench.refused(capped(drop_mib=1))
    assert (reason.code, reason.file) == ("drop-too-large", "van.zip")
    assert sum(map(len, bench.files().values())) <= MIB


def test_entries_that_share_their_bytes_are_counted_each(bench: ZipBench):
    """Overlapping entries: a small zip whose directory names one stretch of bytes many times."""
    data = raw_zip((b"0000", bytes(MIB), 0, b""))
    end = data.rindex(b"PK\5\6")
    at = data.rindex(b"PK\1\2", 0, end)
    directory = b"".join(data[at : at + 46] + f"{n:04d}".encode() for n in range(200))
    tail = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, 200, 200, len(directory), at, 0)
    bench.zip.write_bytes(data[:at] + directory + tail)
    assert set(bench.codes(capped(drop_mib=3))) <= {"drop-too-large", "zip-broken"}
    assert sum(map(len, bench.files().values())) <= 3 * MIB


# -- damage -----------------------------------------------------------------------------------------


def test_a_damaged_entry_is_named_and_the_others_are_looked_at(bench: ZipBench):
    zipped(bench.zip, ("a.png", b"AAAAAAAA"), ("b.png", b"BBBBBBBB"), ("c.png", b"CCCCCCCC"))
    raw = bench.zip.read_bytes().replace(b"AAAAAAAA", b"AAAXAAAA").replace(b"CCCCCCCC", b"CCCXCCCC")
    bench.zip.write_bytes(raw)
    assert [(r.code, r.file) for r in bench.refused()] == [("zip-broken", "a.png"), ("zip-broken", "c.png")]


def test_a_full_disk_is_not_the_artists_fault(bench: ZipBench, monkeypatch):
    zipped(bench.zip, ("a.png", b"x"))

    def full(self: Path, *args: object, **more: object) -> None:
        raise OSError(28, "No space left on device", str(self))

    monkeypatch.setattr(Path, "mkdir", full)
    with pytest.raises(OSError, match="No space"):
        unpack(bench.zip, bench.into / "x", INTAKE, name="van.zip")


def sample() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in DROP.items():
            archive.writestr(name, data)
    return buffer.getvalue()


SAMPLE = sample()


@settings(deadline=None, max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, len(SAMPLE) - 1), st.integers(0, 255)), min_size=1, max_size=6))
def test_damaged_bytes_are_refused_or_change_nothing_but_names(tmp_path_factory, damage: list[tuple[int, int]]):
    """CRC-32 guards the contents (APPNOTE 4.4.7): whatever comes out is one of the files that went in."""
    raw = bytearray(SAMPLE)
    for at, byte in damage:
        raw[at] = byte
    bench = ZipBench(tmp_path_factory.mktemp("damaged"))
    bench.zip.write_bytes(raw)
    try:
        bench.unpack()
    except Refused as refused:
        assert refused.reasons
    else:
        assert set(map(digest, bench.files().values())) <= set(map(digest, DROP.values()))


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
