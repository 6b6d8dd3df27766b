"""An artist's zip comes out whole, or is refused with everything that is wrong with it; nothing gets outside."""

import hashlib
import io
import os
import random
import shutil
import stat
import struct
import subprocess
import zipfile
import zlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from keyturn.inbox.unpack import unpack
from keyturn.shop import rulebook
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.rulebook import Intake

INTAKE = rulebook.load().intake
MIB = 1 << 20


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(not shutil.which(program), reason=f"needs {program}")


def capped(**caps: float) -> Intake:
    return INTAKE.model_copy(update={"caps": INTAKE.caps.model_copy(update=caps)})


def entry(name: str, *, mode: int = 0o100644, method: int = zipfile.ZIP_STORED) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.create_system, info.external_attr, info.compress_type = 3, mode << 16, method
    return info


def zipped(path: Path, *files: tuple[str | zipfile.ZipInfo, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files:
            archive.writestr(entry(name) if isinstance(name, str) else name, data)
    return path


def raw_zip(*files: tuple[bytes, bytes, int, bytes]) -> bytes:
    """A stored zip with any name bytes, flags and extra fields, laid out by APPNOTE 4.3.7, 4.3.12 and 4.3.16."""
    body, directory = b"", b""
    for name, data, flags, extra in files:
        common = struct.pack(
            "<5H3I2H", 10, flags, 0, 0, 33, zlib.crc32(data), len(data), len(data), len(name), len(extra)
        )
        tail = struct.pack("<3H2I", 0, 0, 0, 0, len(body))
        directory += b"PK\1\2" + struct.pack("<H", 10) + common + tail + name + extra
        body += b"PK\3\4" + common + name + extra + data
    end = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, len(files), len(files), len(directory), len(body), 0)
    return body + directory + end


class Bench:
    """A folder with a zip in it and the place to unpack to; remembers what else is there."""

    def __init__(self, place: Path) -> None:
        self.zip, self.into = place / "van.zip", place / "in" / "unpacked"
        self.into.mkdir(parents=True)

    def unpack(self, intake: Intake = INTAKE) -> tuple[Reason, ...]:
        try:
            return unpack(self.zip, self.into, intake, name="van.zip")
        finally:
            above = {p for p in self.into.parent.parent.rglob("*") if self.into not in p.parents}
            assert above == {self.zip, self.into.parent, self.into}, "something was written outside"

    def refused(self, intake: Intake = INTAKE) -> list[Reason]:
        with pytest.raises(Refused) as caught:
            self.unpack(intake)
        return list(caught.value.reasons)

    def codes(self, intake: Intake = INTAKE) -> list[str]:
        return [r.code for r in self.refused(intake)]

    def files(self) -> dict[str, bytes]:
        return {str(p.relative_to(self.into)): p.read_bytes() for p in self.into.rglob("*") if not p.is_dir()}


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


# -- what comes out ---------------------------------------------------------------------------------

DROP = {
    "job.toml": b'customer = "Fern Hollow"\n',
    "lamps/0001.png": bytes(9000),
    "lamps/0002.png": b"x",
    "inner.zip": b"PK",
}


def lay_out(folder: Path) -> Path:
    for name, data in DROP.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return folder


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
    bench = Bench(place)
    subprocess.run(["zip", "-q", *options, bench.zip, what], cwd=cwd, check=True)
    assert bench.unpack() == ()
    assert bench.files() == DROP


@pytest.mark.system
@needs("zip")
def test_a_zip_streamed_through_a_pipe_comes_out(bench: Bench, tmp_path: Path):
    folder = lay_out(tmp_path / "in" / "unpacked" / "src")
    bench.zip.write_bytes(subprocess.run(["zip", "-qr", "-", "."], cwd=folder, check=True, capture_output=True).stdout)
    shutil.rmtree(folder)
    assert bench.unpack() == ()
    assert bench.files() == DROP


def test_modes_and_times_of_the_zip_are_ignored(bench: Bench):
    old = entry("run.png", mode=0o104777)
    old.date_time = (1990, 1, 1, 0, 0, 0)
    zipped(bench.zip, (old, b"x"), ("locked.png", b"y"), (entry("zero.png", mode=0), b"z"))
    bench.unpack()
    umask = os.umask(0)
    os.umask(umask)
    for path in bench.into.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~umask
        assert path.stat().st_mtime > 1e9


def test_litter_is_skipped_and_said(bench: Bench):
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


def test_one_top_folder_is_taken_off_two_are_not(bench: Bench):
    zipped(bench.zip, ("van/", b""), ("van/a/1.png", b"1"), ("van/b/1.png", b"2"))
    bench.unpack()
    assert set(bench.files()) == {"a/1.png", "b/1.png"}


def test_two_top_folders_stay(bench: Bench):
    zipped(bench.zip, ("a/1.png", b"1"), ("b/1.png", b"2"))
    bench.unpack()
    assert set(bench.files()) == {"a/1.png", "b/1.png"}


def test_backslashes_of_old_windows_tools_are_folders(bench: Bench):
    bench.zip.write_bytes(
        raw_zip((b"lamps\\", b"", 0, b""), (b"lamps\\1.png", b"1", 0, b""), (b"job.toml", b"", 0, b""))
    )
    bench.unpack()
    assert set(bench.files()) == {"lamps/1.png", "job.toml"}


# -- names and code pages ---------------------------------------------------------------------------


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
        ("bo\u0308rek.png".encode(), 0x800, b"", "börek.png"),  # decomposed, as Apple's file systems give it
        (b"b?rek.png", 0, unicode_path("börek.png", b"b?rek.png"), "börek.png"),
        (b"b_rek.png", 0, unicode_path("elsewhere.png", b"renamed.png"), "b_rek.png"),  # void: CRC of another name
    ],
)
def test_names_are_read_in_the_code_page_they_were_written_in(bench: Bench, raw, flags, extra, expected):
    bench.zip.write_bytes(raw_zip((raw, b"x", flags, extra)))
    bench.unpack()
    assert set(bench.files()) == {expected}


@pytest.mark.system
@needs("unzip")
def test_unzip_reads_code_page_437_alike(bench: Bench):
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


@pytest.mark.parametrize(
    "name", ["lamp?.png", "con.png", "a:b/aux", "lamp.png.", "tab\there.png", "n" * 256, "é" * 130]
)
def test_names_that_sticks_or_linux_cannot_hold_are_refused(bench: Bench, name: str):
    zipped(bench.zip, ("job.toml", b"x"), (f"lamps/{name}", b"x"))
    assert set(bench.codes()) == {"name-not-holdable"}
    assert bench.files() == {}


# -- reaching outside -------------------------------------------------------------------------------

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
def test_paths_that_reach_outside_are_refused(bench: Bench, name: str):
    zipped(bench.zip, ("job.toml", b"x"), (name, b"x"))
    assert bench.codes() == ["zip-outside"]
    assert bench.files() == {}


@pytest.mark.parametrize(
    ("kind", "word"),
    [(stat.S_IFLNK, "link"), (stat.S_IFIFO, "ordinary"), (stat.S_IFCHR, "ordinary"), (stat.S_IFSOCK, "ordinary")],
)
def test_links_and_devices_are_refused(bench: Bench, kind: int, word: str):
    zipped(bench.zip, ("job.toml", b"x"), (entry("lamps", mode=kind | 0o777), b"/etc"), ("lamps/passwd", b"x"))
    reasons = bench.refused()
    assert "not-a-file" in [r.code for r in reasons]
    assert word in next(r.what for r in reasons if r.code == "not-a-file")
    assert bench.files() == {}


@pytest.mark.system
@needs("zip")
def test_a_link_stored_by_info_zip_is_seen_as_one(bench: Bench):
    place = bench.into / "src"
    place.mkdir()
    (place / "link").symlink_to("/etc/passwd")
    subprocess.run(["zip", "-qy", bench.zip, "link"], cwd=place, check=True)
    shutil.rmtree(place)
    assert bench.codes() == ["not-a-file"]


# -- doubles ----------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize(
    ("names", "code"),
    [
        (["a.png", "a.png"], "zip-doubled"),
        (["a.png", "./a.png"], "zip-doubled"),
        (["l/a.png", "l\\a.png"], "zip-doubled"),
        (["bo\u0308rek.png", "börek.png"], "zip-doubled"),
        (["lamps", "lamps/a.png"], "zip-doubled"),
        (["a.png", "A.PNG"], "names-equal-but-case"),
        (["Lamps/1.png", "lamps/2.png"], "names-equal-but-case"),
    ],
)
def test_entries_that_would_overwrite_each_other_are_refused(bench: Bench, names: list[str], code: str):
    zipped(bench.zip, ("job.toml", b"x"), *((name, b"x") for name in names))
    assert bench.codes() == [code]


# -- bombs ------------------------------------------------------------------------------------------


def test_an_entry_that_unpacks_to_far_more_than_its_size_is_refused(bench: Bench):
    zipped(bench.zip, ("job.toml", b"x"), (entry("bomb.bmp", method=zipfile.ZIP_DEFLATED), bytes(8 * MIB)))
    packed = zipfile.ZipFile(bench.zip).getinfo("bomb.bmp").compress_size
    (reason,) = bench.refused()
    assert (reason.code, reason.file) == ("zip-bomb", "bomb.bmp")
    assert len(bench.files()["bomb.bmp"]) <= packed * INTAKE.caps.zip_ratio


def test_small_entries_may_be_squeezed_as_much_as_they_like(bench: Bench):
    zipped(bench.zip, (entry("flat.bmp", method=zipfile.ZIP_DEFLATED), bytes(MIB)))
    assert bench.unpack() == ()


def test_a_packed_size_that_lies_does_not_hide_a_bomb(bench: Bench):
    zipped(bench.zip, (entry("bomb.bmp", method=zipfile.ZIP_DEFLATED), bytes(8 * MIB)))
    raw = bytearray(bench.zip.read_bytes())
    at = raw.rindex(b"PK\1\2")
    struct.pack_into("<I", raw, at + 20, 0x7FFFFFFF)  # APPNOTE 4.3.12: compressed size
    bench.zip.write_bytes(raw)
    assert bench.codes() in (["zip-bomb"], ["zip-broken"])  # newer Pythons see that the entry overlaps the directory
    assert len(bench.files().get("bomb.bmp", b"")) < 8 * MIB


def test_the_cap_on_one_file_counts_what_comes_out(bench: Bench):
    zipped(
        bench.zip, ("job.toml", b"x"), ("large.png", random.Random(1).randbytes(2 * MIB)), ("also.png", bytes(3 * MIB))
    )
    reasons = bench.refused(capped(file_mib=1))
    assert [(r.code, r.file) for r in reasons] == [("file-too-large", "large.png"), ("file-too-large", "also.png")]


def test_the_cap_on_the_drop_stops_the_work(bench: Bench):
    zipped(bench.zip, *((f"{n}.png", bytes(MIB // 2)) for n in range(10)))
    (reason,) = bench.refused(capped(drop_mib=1))
    assert (reason.code, reason.file) == ("drop-too-large", "van.zip")
    assert sum(map(len, bench.files().values())) <= MIB


def test_entries_that_share_their_bytes_are_counted_each(bench: Bench):
    """Overlapping entries: a small zip whose directory names one stretch of bytes many times."""
    data = raw_zip((b"0000", bytes(MIB), 0, b""))
    end = data.rindex(b"PK\5\6")
    at = data.rindex(b"PK\1\2", 0, end)
    directory = b"".join(data[at : at + 46] + f"{n:04d}".encode() for n in range(200))
    tail = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, 200, 200, len(directory), at, 0)
    bench.zip.write_bytes(data[:at] + directory + tail)
    assert set(bench.codes(capped(drop_mib=3))) <= {"drop-too-large", "zip-broken"}
    assert sum(map(len, bench.files().values())) <= 3 * MIB


def test_too_many_entries_are_refused_but_litter_does_not_count(bench: Bench):
    names = [(f"{n}.png", b"") for n in range(6)]
    zipped(bench.zip, *names, *((f"__MACOSX/._{n}.png", b"") for n in range(6)))
    assert bench.codes(capped(files=5)) == ["too-many-files"]
    assert [r.code for r in bench.unpack(capped(files=6))] == ["junk-skipped"]


def test_a_directory_of_very_many_entries_is_not_even_read(bench: Bench):
    bench.zip.write_bytes(raw_zip(*((f"{n:050d}".encode(), b"", 0, b"") for n in range(2000))))
    assert bench.codes(capped(files=5)) == ["too-many-files"]  # 192,000 bytes of directory for 5 files


def test_very_many_faulty_entries_give_one_reason(bench: Bench):
    zipped(bench.zip, *((f"../{n}", b"") for n in range(50)))
    assert bench.codes(capped(files=5)) == ["too-many-files"]


def test_a_deep_tree_is_refused(bench: Bench):
    zipped(bench.zip, ("job.toml", b"x"), ("d/" * 2000 + "a.png", b"x"))
    assert bench.codes() == ["too-deep"]


# -- locked, odd and broken -------------------------------------------------------------------------


@pytest.mark.system
@needs("zip")
def test_a_locked_zip_is_refused_once(bench: Bench):
    folder = lay_out(bench.into / "src")
    subprocess.run(["zip", "-qr", "-P", "fern", bench.zip, "."], cwd=folder, check=True)
    shutil.rmtree(folder)
    (reason,) = bench.refused()
    assert (reason.code, reason.file) == ("zip-locked", "van.zip")


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_unusual_methods_are_refused_by_name(bench: Bench, method: int):
    zipped(bench.zip, (entry("a.png", method=method), bytes(100)), ("b.png", b"x"))
    (reason,) = bench.refused()
    assert (reason.code, reason.file) == ("zip-method", "a.png")


def test_a_method_nobody_knows_is_refused(bench: Bench):
    zipped(bench.zip, ("a.png", b"x"))
    raw = bytearray(bench.zip.read_bytes())
    struct.pack_into("<H", raw, raw.rindex(b"PK\1\2") + 10, 77)  # APPNOTE 4.3.12: compression method
    bench.zip.write_bytes(raw)
    assert bench.codes() == ["zip-method"]


def test_faults_of_names_are_told_all_at_once(bench: Bench):
    zipped(
        bench.zip,
        ("../evil", b"x"),
        ("a?.png", b"x"),
        (entry("link", mode=stat.S_IFLNK | 0o777), b"/etc"),
        (entry("b.png", method=zipfile.ZIP_BZIP2), b"x"),
        ("c.png", b"x"),
        ("C.png", b"x"),
    )
    assert sorted(bench.codes()) == [
        "name-not-holdable",
        "names-equal-but-case",
        "not-a-file",
        "zip-method",
        "zip-outside",
    ]


@pytest.mark.parametrize("data", [b"", b"PK", b"not a zip at all", b"\x89PNG\r\n\x1a\n" * 100])
def test_what_is_no_zip_is_refused(bench: Bench, data: bytes):
    bench.zip.write_bytes(data)
    assert bench.codes() == ["zip-broken"]


@pytest.mark.parametrize("files", [[], [("van/", b"")], [("__MACOSX/._a", b"x")]])
def test_a_zip_without_files_is_refused(bench: Bench, files: list[tuple[str, bytes]]):
    zipped(bench.zip, *files)
    assert bench.codes() == ["zip-empty"]


def test_a_damaged_entry_is_named_and_the_others_are_looked_at(bench: Bench):
    zipped(bench.zip, ("a.png", b"AAAAAAAA"), ("b.png", b"BBBBBBBB"), ("c.png", b"CCCCCCCC"))
    raw = bench.zip.read_bytes().replace(b"AAAAAAAA", b"AAAXAAAA").replace(b"CCCCCCCC", b"CCCXCCCC")
    bench.zip.write_bytes(raw)
    assert [(r.code, r.file) for r in bench.refused()] == [("zip-broken", "a.png"), ("zip-broken", "c.png")]


def test_a_zip_cut_short_is_refused(bench: Bench):
    zipped(bench.zip, ("a.png", bytes(5000)))
    bench.zip.write_bytes(bench.zip.read_bytes()[:3000])
    assert bench.codes() == ["zip-broken"]


def test_a_full_disk_is_not_the_artists_fault(bench: Bench, monkeypatch):
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
    bench = Bench(tmp_path_factory.mktemp("damaged"))
    bench.zip.write_bytes(raw)
    try:
        bench.unpack()
    except Refused as refused:
        assert refused.reasons
    else:
        assert set(map(digest, bench.files().values())) <= set(map(digest, DROP.values()))


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
