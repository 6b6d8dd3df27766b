"""What the files of a drop are: looked into whatever they are called."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from keyturn.inbox.survey import survey
from keyturn.normalize import drop_files
from keyturn.normalize.drop_files import DropFiles
from keyturn.shop import rulebook
from keyturn.shop.named_kinds import NO_KINDS

RULES = rulebook.load()


def encoded(kind: str) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (3, 4)).save(file, kind)
    return file.getvalue()


def looked(folder: Path, files: dict[str, bytes]) -> DropFiles:
    for name, data in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    return drop_files.look_into(survey(folder, RULES.intake), RULES.intake, RULES.kinds)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP"])
@pytest.mark.parametrize("name", ["0001", "0001.txt", "0001.data", "0001.final v2", "0001.pdf"])
def test_a_picture_counts_whatever_it_is_called(tmp_path: Path, kind: str, name: str) -> None:
    assert looked(tmp_path, {name: encoded(kind)}).art == {name}


def test_letters_are_no_pictures(tmp_path: Path) -> None:
    """A text may begin as a bitmap does."""
    found = looked(
        tmp_path, {"wishes.txt": b"BMP files follow on Monday, dear Ines, and all of them blue.", "job.toml": b""}
    )
    assert (found.art, found.not_taken, found.unknown) == (set(), {}, ("wishes.txt",))


def test_a_file_with_a_pictures_ending_counts_though_it_is_none(tmp_path: Path) -> None:
    """It is refused as damaged, not passed over."""
    assert looked(tmp_path, {"0001.png": b"over the wide hill", "0002.jpg": b""}).art == {"0001.png", "0002.jpg"}


def test_a_cameras_raw_file_is_not_read_by_its_small_preview(tmp_path: Path) -> None:
    found = looked(tmp_path, {"van.dng": encoded("TIFF")})
    assert found.not_taken["van.dng"].what == "a camera's raw file"
    assert found.art == {"van.dng"}


def test_a_working_file_beside_frames_is_no_frame_and_a_row_of_them_is(tmp_path: Path) -> None:
    found = looked(
        tmp_path, {"lamp.kra": b"PK", "0001.png": encoded("PNG"), "night/1.kra": b"PK", "night/2.kra": b"PK"}
    )
    assert found.art == {"0001.png", "night/1.kra", "night/2.kra"}
    assert found.not_taken.keys() == {"lamp.kra", "night/1.kra", "night/2.kra"}


def test_a_web_page_called_as_a_frame_is_no_frame_and_not_passed_over(tmp_path: Path) -> None:
    """A browser saves the page that asks to sign in under the picture's name: a frame would be missing."""
    found = looked(tmp_path, {"0001.png": encoded("PNG"), "0002.png": b"<!DOCTYPE html><html>Sign in</html>"})
    assert found.art == {"0001.png", "0002.png"} and found.not_taken.keys() == {"0002.png"}


def test_a_logo_of_a_kind_that_is_not_taken_is_refused_unless_there_is_another(tmp_path: Path) -> None:
    assert looked(tmp_path, {"0001.png": encoded("PNG"), "logo.ai": b"%PDF-1.6"}).art == {"0001.png", "logo.ai"}
    assert looked(tmp_path, {"logo.png": encoded("PNG")}).art == {"0001.png", "logo.png"}


def test_one_reason_for_each_kind_names_its_files(tmp_path: Path) -> None:
    files = {f"{n:04}.exr": b"\x76\x2f\x31\x01" for n in range(1, 8)} | {"lamp.procreate": b"PK"}
    found = looked(tmp_path, files)
    exr, procreate = drop_files.refused(sorted(found.not_taken), found)
    assert exr.file == "0001.exr" and exr.what.endswith(
        "and so are 6 more (0002.exr, 0003.exr, 0004.exr, 0005.exr and 2 more)"
    )
    assert procreate.line() == (
        "lamp.procreate: is a Procreate file -> "
        "in the program: Share, then PNG; for an animation: Share, then Animated PNG"
    )


def test_a_drop_without_pictures_is_told_what_lies_in_it(tmp_path: Path) -> None:
    found = looked(tmp_path, {"lamp.psp": b"Paint Shop Pro Image File", "lamp": b"?", "wishes.txt": b"blue"})
    told = drop_files.without_pictures(found)
    assert [(reason.code, reason.file) for reason in told] == [("picture-kind", "lamp.psp"), ("no-art", None)]
    assert "in it lie lamp, wishes.txt" in told[1].what
    (nothing,) = drop_files.without_pictures(DropFiles(frozenset(), {}, ()))
    assert "nothing lies beside job.toml" in nothing.what


def test_without_a_table_nothing_is_named(tmp_path: Path) -> None:
    (tmp_path / "lamp.kra").write_bytes(b"PK")
    found = drop_files.look_into(survey(tmp_path, RULES.intake), RULES.intake, NO_KINDS)
    assert found.unknown == ("lamp.kra",)


@pytest.mark.parametrize("name", ["job.toml", "JOB.TOML", "job.toml.txt"])
def test_the_manifest_is_no_unknown_file_whatever_it_is_called(tmp_path: Path, name: str) -> None:
    assert looked(tmp_path, {name: b'customer = "Fern"', "order.txt": b"blue"}).unknown == ("order.txt",)
