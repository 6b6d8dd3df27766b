"""What is wrong with the files of a zip is found before anything is written, all at once."""

from __future__ import annotations

import shutil
import stat
import struct
import subprocess
import zipfile

import pytest

from zip_samples import ZipBench, entry, lay_out, needs, zipped


@pytest.mark.parametrize(
    "name", ["lamp?.png", "con.png", "a:b/aux", "lamp.png.", "tab\there.png", "n" * 256, "é" * 130]
)
def test_names_that_sticks_or_linux_cannot_hold_are_refused(bench: ZipBench, name: str):
    zipped(bench.zip, ("job.toml", b"x"), (f"lamps/{name}", b"x"))
    assert set(bench.codes()) == {"name-not-holdable"}
    assert bench.files() == {}


@pytest.mark.parametrize(
    ("kind", "word"),
    [(stat.S_IFLNK, "link"), (stat.S_IFIFO, "ordinary"), (stat.S_IFCHR, "ordinary"), (stat.S_IFSOCK, "ordinary")],
)
def test_links_and_devices_are_refused(bench: ZipBench, kind: int, word: str):
    zipped(bench.zip, ("job.toml", b"x"), (entry("lamps", mode=kind | 0o777), b"/etc"), ("lamps/passwd", b"x"))
    reasons = bench.refused()
    assert "not-a-file" in [r.code for r in reasons]
    assert word in next(r.what for r in reasons if r.code == "not-a-file")
    assert bench.files() == {}


@pytest.mark.system
@needs("zip")
def test_a_link_stored_by_info_zip_is_seen_as_one(bench: ZipBench):
    place = bench.into / "src"
    place.mkdir()
    (place / "link").symlink_to("/etc/passwd")
    subprocess.run(["zip", "-qy", bench.zip, "link"], cwd=place, check=True)
    shutil.rmtree(place)
    assert bench.codes() == ["not-a-file"]


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
def test_entries_that_would_overwrite_each_other_are_refused(bench: ZipBench, names: list[str], code: str):
    zipped(bench.zip, ("job.toml", b"x"), *((name, b"x") for name in names))
    assert bench.codes() == [code]


def test_a_deep_tree_is_refused(bench: ZipBench):
    zipped(bench.zip, ("job.toml", b"x"), ("d/" * 2000 + "a.png", b"x"))
    assert bench.codes() == ["too-deep"]


@pytest.mark.system
@needs("zip")
def test_a_locked_zip_is_refused_once(bench: ZipBench):
    folder = lay_out(bench.into / "src")
    subprocess.run(["zip", "-qr", "-P", "fern", bench.zip, "."], cwd=folder, check=True)
    shutil.rmtree(folder)
    (reason,) = bench.refused()
    assert (reason.code, reason.file) == ("zip-locked", "van.zip")


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_unusual_methods_are_refused_by_name(bench: ZipBench, method: int):
    zipped(bench.zip, (entry("a.png", method=method), bytes(100)), ("b.png", b"x"))
    (reason,) = bench.refused()
    assert (reason.code, reason.file) == ("zip-method", "a.png")


def test_a_method_nobody_knows_is_refused(bench: ZipBench):
    zipped(bench.zip, ("a.png", b"x"))
    raw = bytearray(bench.zip.read_bytes())
    struct.pack_into("<H", raw, raw.rindex(b"PK\1\2") + 10, 77)  # APPNOTE 4.3.12: compression method
    bench.zip.write_bytes(raw)
    assert bench.codes() == ["zip-method"]


def test_faults_of_names_are_told_all_at_once(bench: ZipBench):
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


@pytest.mark.parametrize("files", [[], [("van/", b"")], [("__MACOSX/._a", b"x")]])
def test_a_zip_without_files_is_refused(bench: ZipBench, files: list[tuple[str, bytes]]):
    zipped(bench.zip, *files)
    assert bench.codes() == ["zip-empty"]
