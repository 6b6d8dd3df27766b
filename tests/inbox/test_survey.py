"""The files of a drop are listed and checked without following a link or opening a device."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from keyturn.inbox.survey import SMALL_BYTES, SMALL_FILES, digest, is_small, snapshot, survey
from keyturn.shop import rulebook
from keyturn.shop.file_digests import FileDigests
from keyturn.shop.reasons import Kind

INTAKE = rulebook.load().intake


def limited(**caps: float) -> rulebook.Intake:
    return INTAKE.model_copy(update={"caps": INTAKE.caps.model_copy(update=caps)})


def codes(root: Path, intake: rulebook.Intake = INTAKE) -> set[str]:
    return {r.code for r in survey(root, intake).reasons if r.kind is Kind.REFUSE}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    folder = tmp_path / "van"
    (folder / "lamps").mkdir(parents=True)
    (folder / "job.toml").write_text("x")
    (folder / "lamps" / "1.png").write_bytes(b"one")
    return folder


def test_files_are_listed_by_relative_name(root: Path) -> None:
    found = survey(root, INTAKE)
    assert found.files == ("job.toml", "lamps/1.png")
    assert found.reasons == ()


def test_litter_and_our_own_notices_are_left_out(root: Path) -> None:
    for name in ("Thumbs.db", ".DS_Store", "lamps/._1.png", "REJECTED.html"):
        (root / name).write_bytes(b"x")
    (root / "__MACOSX" / "lamps").mkdir(parents=True)
    (root / "__MACOSX" / "lamps" / "1.png").write_bytes(b"x")
    found = survey(root, INTAKE)
    assert found.files == ("job.toml", "lamps/1.png")
    assert [r.code for r in found.reasons] == ["junk-skipped"]


def test_links_pipes_and_the_like_are_refused_and_never_opened(root: Path) -> None:
    (root / "secret").symlink_to("/etc/passwd")
    (root / "loop").symlink_to(root)
    os.mkfifo(root / "pipe.png")
    found = survey(root, INTAKE)
    assert codes(root) == {"not-a-file"}
    assert {r.file for r in found.reasons} == {"secret", "loop", "pipe.png"}
    assert found.files == ("job.toml", "lamps/1.png")


def test_a_copy_that_broke_off_is_refused(root: Path) -> None:
    (root / "lamps" / "2.png.part").write_bytes(b"half")
    assert codes(root) == {"half-copied"}


def test_a_file_that_is_still_in_a_cloud_is_told_by_its_own_name(root: Path) -> None:
    (root / "lamps" / ".2.png.icloud").write_bytes(b"bplist00")
    (reason,) = survey(root, INTAKE).reasons
    assert (reason.code, reason.file, reason.what) == ("still-in-cloud", "lamps/2.png", "is still in iCloud")
    assert "then copy the folder again" in reason.mend


def test_the_lock_of_an_office_program_is_litter(root: Path) -> None:
    (root / "~$wishes.docx").write_bytes(b"Ines")
    assert [r.code for r in survey(root, INTAKE).reasons] == ["junk-skipped"]


def test_a_name_that_is_no_text_is_shown_escaped(root: Path) -> None:
    (Path(os.fsdecode(os.fsencode(root) + b"/\xff.png"))).write_bytes(b"x")
    (reason,) = survey(root, INTAKE).reasons
    assert reason.code == "name-not-text"
    assert reason.file == "\\udcff.png"


def test_caps_are_counted_before_anything_is_read(root: Path) -> None:
    assert codes(root, limited(files=1)) == {"too-many-files"}
    assert codes(root, limited(drop_mib=1e-6)) == {"drop-too-large"}
    assert codes(root, limited(file_mib=2e-6)) == {"file-too-large"}
    deep = root / "a" / "b" / "c" / "d" / "e"
    deep.mkdir(parents=True)
    (deep / "1.png").write_bytes(b"x")
    assert codes(root) == {"too-deep"}


def test_names_equal_but_for_capitals_are_refused(root: Path) -> None:
    (root / "lamps" / "1.PNG").write_bytes(b"x")
    assert codes(root) == {"names-equal-but-case"}


def test_a_snapshot_sees_size_time_and_replacement(root: Path) -> None:
    before = snapshot(root)
    assert snapshot(root) == before
    os.utime(root / "lamps" / "1.png", ns=(1, 1))
    touched = snapshot(root)
    assert touched != before
    (root / "lamps" / "1.png").rename(root / "old")
    assert snapshot(root) != touched


def test_a_snapshot_of_what_is_not_there_is_empty(tmp_path: Path) -> None:
    assert snapshot(tmp_path / "ghost") == frozenset()


def test_equal_drops_have_equal_digests_wherever_they_lie(root: Path, tmp_path: Path) -> None:
    other = tmp_path / "elsewhere"
    (other / "lamps").mkdir(parents=True)
    (other / "lamps" / "1.png").write_bytes(b"one")
    (other / "job.toml").write_text("x")
    (other / ".DS_Store").write_bytes(b"litter")
    assert digest(survey(root, INTAKE), FileDigests()) == digest(survey(other, INTAKE), FileDigests())
    (other / "lamps" / "1.png").write_bytes(b"two")
    assert digest(survey(root, INTAKE), FileDigests()) != digest(survey(other, INTAKE), FileDigests())


def test_a_drop_is_small_by_its_files_and_by_their_bytes(root: Path) -> None:
    assert is_small(snapshot(root))
    with (root / "clip.mp4").open("wb") as file:
        file.truncate(SMALL_BYTES)
    assert not is_small(snapshot(root))
    (root / "clip.mp4").unlink()
    for number in range(SMALL_FILES):
        (root / "lamps" / f"{number:04d}.png").touch()
    assert not is_small(snapshot(root))
