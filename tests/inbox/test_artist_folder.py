"""The artist's folder is found in a folder, in a folder in a folder, and in a zip."""

from __future__ import annotations

import io
import tarfile
import zipfile
from pathlib import Path

import pytest

from keyturn.inbox.artist_folder import artist_folder
from keyturn.shop import rulebook
from keyturn.shop.reasons import Reason, Refused

RULES = rulebook.load()


@pytest.fixture
def drop(tmp_path: Path) -> Path:
    (tmp_path / "drop").mkdir()
    (tmp_path / "scratch").mkdir()
    return tmp_path / "drop"


def found(drop: Path) -> tuple[str, list[str]]:
    """Return the folder found, from above the drop, and the codes of what was mended."""
    folder, reasons = artist_folder(drop, drop.parent / "scratch", RULES)
    return str(folder.relative_to(drop.parent)), [reason.code for reason in reasons]


def lay(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"x")


def zip_up(path: Path, *names: str) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name in names:
            archive.writestr(name, b"x")


def test_a_folder_with_a_manifest_is_the_artists_own(drop: Path) -> None:
    lay(drop, "job.toml", "lamps/1.png")
    assert found(drop) == ("drop", [])


def test_so_is_one_without_a_manifest(drop: Path) -> None:
    lay(drop, "lamps/1.png")
    assert found(drop) == ("drop", [])


def test_a_folder_in_the_folder_is_found_and_noted(drop: Path) -> None:
    lay(drop, "van/job.toml", "van/1.png", "other/2.png")
    assert found(drop) == ("drop/van", ["folder-in-folder"])


@pytest.mark.parametrize("name", ["JOB.TOML", "job.toml.txt", "van.toml"])
def test_a_manifest_of_another_name_says_whose_folder_it_is_too(drop: Path, name: str) -> None:
    lay(drop, f"van/{name}", "van/1.png", "other/2.png")
    assert found(drop) == ("drop/van", ["folder-in-folder"])


@pytest.mark.parametrize("names", [("job.toml", "van/job.toml"), ("a/job.toml", "b/job.toml")])
def test_where_several_folders_could_be_meant_the_drop_itself_is_taken(drop: Path, names: tuple[str, ...]) -> None:
    lay(drop, *names)
    assert found(drop) == ("drop", [])


def test_a_link_to_a_folder_is_not_followed(drop: Path) -> None:
    lay(drop.parent / "elsewhere", "job.toml")
    (drop / "van").symlink_to(drop.parent / "elsewhere")
    assert found(drop) == ("drop", [])


@pytest.mark.parametrize("beside", [(), (".DS_Store", "REJECTED.html")])
def test_a_zip_alone_is_unpacked(drop: Path, beside: tuple[str, ...]) -> None:
    zip_up(drop / "van.ZIP", "job.toml", "lamps/1.png")
    lay(drop, *beside)
    assert found(drop) == ("scratch/unpacked", [])
    assert (drop.parent / "scratch" / "unpacked" / "lamps" / "1.png").read_bytes() == b"x"


def test_what_was_mended_in_the_zip_is_passed_on(drop: Path) -> None:
    zip_up(drop / "van.zip", "a/job.toml", "b/1.png", "__MACOSX/._1.png")
    assert found(drop) == ("scratch/unpacked/a", ["junk-skipped", "folder-in-folder"])


@pytest.mark.parametrize(
    "names", [("bootanimation.zip",), ("van.zip", "job.toml"), ("van.zip", "two.zip"), ("van.png",)]
)
def test_other_zips_are_art(drop: Path, names: tuple[str, ...]) -> None:
    lay(drop, *names)
    assert found(drop) == ("drop", [])


def test_a_zip_that_cannot_be_unpacked_is_refused(drop: Path) -> None:
    lay(drop, "van.zip")
    with pytest.raises(Refused) as caught:
        found(drop)
    reason: Reason = caught.value.reasons[0]
    assert (reason.code, reason.file) == ("zip-broken", "van.zip")


# -- other archives, and archives in archives -------------------------------------------------------


def tar_up(path: Path, *names: str) -> None:
    with tarfile.open(path, "w:gz") as archive:
        for name in names:
            info = tarfile.TarInfo(name)
            info.size = 1
            archive.addfile(info, io.BytesIO(b"x"))


@pytest.mark.parametrize("name", ["van.tar.gz", "van.tgz", "van.tar", "van.zip", "van"])
def test_a_tar_is_unpacked_whatever_it_is_called(drop: Path, name: str) -> None:
    tar_up(drop / name, "van/job.toml", "van/1.png")
    assert found(drop) == ("scratch/unpacked", [])
    assert (drop.parent / "scratch" / "unpacked" / "job.toml").is_file()


def test_a_zip_in_a_zip_is_unpacked_too_and_a_third_one_is_refused(drop: Path) -> None:
    zip_up(drop.parent / "inner.zip", "van/job.toml", "van/1.png")
    with zipfile.ZipFile(drop / "van.zip", "w") as archive:
        archive.write(drop.parent / "inner.zip", "van/inner.zip")
    assert found(drop) == ("scratch/unpacked1", ["archive-in-archive"])
    (drop / "van.zip").rename(drop.parent / "middle.zip")
    with zipfile.ZipFile(drop / "van.zip", "w") as archive:
        archive.write(drop.parent / "middle.zip", "middle.zip")
    (drop.parent / "scratch").rename(drop.parent / "before")
    (drop.parent / "scratch").mkdir()
    with pytest.raises(Refused) as caught:
        found(drop)
    assert caught.value.reasons[-1].code == "archive-in-archive" and caught.value.reasons[-1].file == "inner.zip"


def test_a_zip_in_a_zip_may_fill_no_more_than_one_drop(drop: Path) -> None:
    with zipfile.ZipFile(drop.parent / "inner.zip", "w") as archive:
        archive.writestr("1.png", bytes(600 << 10))
    with zipfile.ZipFile(drop / "van.zip", "w") as archive:
        archive.write(drop.parent / "inner.zip", "inner.zip")
    caps = RULES.intake.caps.model_copy(update={"drop_mib": 1})
    rules = RULES.model_copy(update={"intake": RULES.intake.model_copy(update={"caps": caps})})
    with pytest.raises(Refused) as caught:
        artist_folder(drop, drop.parent / "scratch", rules)
    assert [reason.code for reason in caught.value.reasons if reason.mend] == ["drop-too-large"]


@pytest.mark.parametrize("start", [b"Rar!\x1a\x07\x01\0", b"7z\xbc\xaf\x27\x1c"])
def test_another_kind_of_archive_called_zip_is_left_to_be_named(drop: Path, start: bytes) -> None:
    (drop / "van.zip").write_bytes(start + bytes(900))
    assert found(drop) == ("drop", [])


def test_a_damaged_tar_is_refused_as_one_and_a_picture_packed_alone_is_none(drop: Path) -> None:
    (drop / "van.tar.gz").write_bytes(b"\x1f\x8b\x08" + bytes(20))
    with pytest.raises(Refused) as caught:
        found(drop)
    assert [(r.code, r.file) for r in caught.value.reasons] == [("tar-broken", "van.tar.gz")]
    (drop / "van.tar.gz").rename(drop / "1.png.gz")
    assert found(drop) == ("drop", [])


def test_a_programs_own_file_is_no_archive_though_it_is_a_zip_inside(drop: Path) -> None:
    zip_up(drop / "lamp.procreate", "Document.archive")
    assert found(drop) == ("drop", [])
