"""The entries of an archive are listed, within limits, and nothing is unpacked."""

import io
import os
import shutil
import struct
import subprocess
import tempfile
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image

from keyturn.commands.archive_reader import read_bundle
from keyturn.radio.inspect import look
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

CAPS = rulebook.load().intake.caps
DESC = b"64 48 20\np 1 0 part0\np 0 0 part1\n"


def picture(kind: str = "PNG", mode: str = "RGB", size: tuple[int, int] = (64, 48)) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, 90).save(out, kind)
    return out.getvalue()


def archive(path: Path, files: dict[str, bytes], method: int = zipfile.ZIP_STORED) -> Path:
    with zipfile.ZipFile(path, "w", method) as out:
        for name, data in files.items():
            out.writestr(name, data)
    return path


def good() -> dict[str, bytes]:
    frames = {f"part0/{n:04}.png": picture() for n in range(3)}
    return {"desc.txt": DESC, "part0/": b"", **frames, "part1/0000.jpg": picture("JPEG")}


def codes_of(path: Path, caps: rulebook.Caps = CAPS) -> list[str]:
    with pytest.raises(Refused) as caught:
        read_bundle(path, caps)
    return [reason.code for reason in caught.value.reasons]


def test_a_good_archive_is_listed_with_its_headers(tmp_path: Path) -> None:
    bundle = read_bundle(archive(tmp_path / "bootanimation.zip", good()), CAPS)
    assert bundle.desc == DESC
    assert [e.name for e in bundle.entries] == list(good())
    kinds = {e.name: (e.kind, e.width, e.height, e.compressed) for e in bundle.entries}
    assert kinds["part0/0001.png"] == ("png", 64, 48, False)
    assert kinds["part1/0000.jpg"] == ("jpeg", 64, 48, False)
    assert kinds["desc.txt"] == ("other", None, None, False)
    assert look(bundle.entries, bundle.desc).reasons == ()


@pytest.mark.system
@pytest.mark.skipif(shutil.which("zip") is None, reason="needs zip")
def test_an_archive_made_the_ordinary_way_shows_nothing(tmp_path: Path) -> None:
    # Info-ZIP deflates unless told to store; its own list says which entries it deflated
    folder = tmp_path / "art"
    for name, data in good().items():
        if not name.endswith("/"):
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(data)
    (folder / "desc.txt").write_bytes(DESC * 4)  # so long that deflating makes it smaller
    subprocess.run(["zip", "-qr", "../made.zip", "."], cwd=folder, check=True)
    bundle = read_bundle(tmp_path / "made.zip", CAPS)
    with zipfile.ZipFile(tmp_path / "made.zip") as made:
        deflated = {i.filename for i in made.infolist() if i.compress_type == zipfile.ZIP_DEFLATED}
    assert deflated and {e.name for e in bundle.entries if e.compressed} == deflated
    assert bundle.desc == DESC * 4
    found = {reason.code for reason in look(bundle.entries, bundle.desc).reasons}
    assert {"desc-compressed", "frame-compressed", "part-empty"} <= found


def test_headers_of_compressed_entries_are_read_too(tmp_path: Path) -> None:
    bundle = read_bundle(archive(tmp_path / "a.zip", good(), zipfile.ZIP_DEFLATED), CAPS)
    assert all(e.compressed for e in bundle.entries if e.leaf)
    assert [e.width for e in bundle.entries if e.kind == "png"] == [64, 64, 64]


def test_a_long_profile_before_the_transparency_is_read_past(tmp_path: Path) -> None:
    out = io.BytesIO()
    Image.new("P", (64, 48)).save(out, "PNG", transparency=0, icc_profile=os.urandom(9000))
    (entry,) = read_bundle(archive(tmp_path / "a.zip", {"a.png": out.getvalue()}), CAPS).entries
    assert entry.alpha


def test_an_archive_without_a_command_file(tmp_path: Path) -> None:
    assert read_bundle(archive(tmp_path / "a.zip", {"lamps/desc.txt": DESC}), CAPS).desc is None


@pytest.mark.parametrize("data", [b"", b"PK", b"not a zip" * 50, b"PK\x05\x06", b"PK\x05\x06" + b"\xff" * 18])
def test_what_is_no_zip_is_refused(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(data)
    assert codes_of(path) in (["not-a-zip"], ["too-many-files"])


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.99])
def test_half_an_archive_is_refused(tmp_path: Path, share: float) -> None:
    whole = archive(tmp_path / "a.zip", good()).read_bytes()
    (tmp_path / "half.zip").write_bytes(whole[: int(len(whole) * share)])
    assert codes_of(tmp_path / "half.zip") == ["not-a-zip"]


def test_an_entry_without_a_name_is_listed(tmp_path: Path) -> None:
    path = archive(tmp_path / "a.zip", {"Qaa": b"x", **good()})
    path.write_bytes(path.read_bytes().replace(b"Qaa", b"\0aa"))  # names end at a zero byte
    bundle = read_bundle(path, CAPS)
    assert bundle.entries[0].name == "" and bundle.entries[0].kind == "other"
    assert look(bundle.entries, bundle.desc).reasons == ()


def test_a_damaged_entry_costs_only_itself(tmp_path: Path) -> None:
    path = archive(tmp_path / "a.zip", good(), zipfile.ZIP_DEFLATED)
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as made:
        info = made.getinfo("part0/0001.png")
    at = info.header_offset + 30 + len(info.filename)
    data[at : at + 8] = b"\xff" * 8
    path.write_bytes(data)
    kinds = {e.name: e.kind for e in read_bundle(path, CAPS).entries}
    assert kinds["part0/0001.png"] == "other" and kinds["part0/0002.png"] == "png"


@settings(max_examples=300, deadline=None)
@example([(0.998046875, 1)])  # puts the directory's offset beyond the file, so entries lie before its begin
@example([(0.988, 255)])
@given(st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=6))
def test_any_damage_is_refused_or_read(damage: list[tuple[float, int]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = archive(Path(folder) / "a.zip", good(), zipfile.ZIP_DEFLATED)
        data = bytearray(path.read_bytes())
        for place, value in damage:
            data[int(place * len(data))] = value
        path.write_bytes(data)
        try:
            bundle = read_bundle(path, CAPS)
        except Refused as refused:
            assert refused.reasons
        else:
            assert len(bundle.entries) <= len(good())
            look(bundle.entries, bundle.desc)


def test_too_many_entries_and_too_large_a_file(tmp_path: Path) -> None:
    path = archive(tmp_path / "a.zip", good())
    assert codes_of(path, CAPS.model_copy(update={"files": 5})) == ["too-many-files"]
    assert codes_of(path, CAPS.model_copy(update={"drop_mib": 0.0001})) == ["file-too-large"]
    assert codes_of(path, CAPS.model_copy(update={"manifest_kib": 0.01})) == ["desc-too-long"]


def test_a_directory_that_claims_to_be_huge_is_refused_before_it_is_read(tmp_path: Path) -> None:
    # APPNOTE 4.3.16: the size of the central directory stands 12 bytes into the end record
    path = archive(tmp_path / "a.zip", good())
    data = bytearray(path.read_bytes())
    struct.pack_into("<L", data, len(data) - 22 + 12, 2**31)
    path.write_bytes(data)
    assert codes_of(path) == ["too-many-files"]
    struct.pack_into("<L", data, len(data) - 22 + 12, len(data))  # longer than all that stands before it
    path.write_bytes(data)
    assert codes_of(path) == ["not-a-zip"]


def test_a_zip_bomb_is_not_unpacked(tmp_path: Path) -> None:
    bomb = picture() + bytes(200 * 2**20)
    path = archive(tmp_path / "a.zip", {"desc.txt": DESC, "part0/0000.png": bomb}, zipfile.ZIP_DEFLATED)
    del bomb
    tracemalloc.start()
    try:
        bundle = read_bundle(path, CAPS)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert bundle.entries[1].width == 64
    assert peak < 4 * 2**20
