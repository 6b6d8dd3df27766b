"""A drop moves by one rename; between mounts it is copied whole first. It is never in two halves."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from keyturn.inbox import moving
from keyturn.inbox.moving import Changed
from keyturn.inbox.survey import snapshot
from keyturn.shop import durable_files


@pytest.fixture
def source(tmp_path: Path) -> Path:
    folder = tmp_path / "here" / "van"
    (folder / "lamps").mkdir(parents=True)
    (folder / "job.toml").write_text("customer = 'x'")
    (folder / "lamps" / "0001.png").write_bytes(b"one")
    (tmp_path / "there").mkdir()
    return folder


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "there" / "van"


@pytest.fixture
def two_mounts(monkeypatch: pytest.MonkeyPatch, source: Path) -> None:
    """Make the drop's parent folder a mount of its own: renames out of it give EXDEV (rename(2))."""
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if self.is_relative_to(source.parent) != Path(target).is_relative_to(source.parent):
            raise OSError(errno.EXDEV, "Invalid cross-device link", str(self))
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


WHOLE = {"job.toml": b"customer = 'x'", "lamps/0001.png": b"one"}


# -- moving ---------------------------------------------------------------------------------------


def test_on_one_mount_a_move_is_a_rename(source: Path, target: Path) -> None:
    before = snapshot(source)
    moving.move(source, target)
    assert not source.exists()
    assert moving.same_snapshot(snapshot(target), before, inodes=True)


def test_between_mounts_a_copy_with_the_same_times_takes_the_place_of_the_original(
    source: Path, target: Path, two_mounts: None
) -> None:
    before = snapshot(source)
    moving.move(source, target)
    assert not source.exists()
    assert contents(target) == WHOLE
    assert moving.same_snapshot(snapshot(target), before, inodes=False)
    assert not moving.same_snapshot(snapshot(target), before, inodes=True), "a copy has other inodes"


@pytest.mark.parametrize("place", [Path.mkdir, lambda path: path.symlink_to("nowhere")])
def test_nothing_is_moved_over_what_is_there(source: Path, target: Path, place) -> None:
    place(target)
    with pytest.raises(FileExistsError):
        moving.move(source, target)
    assert contents(source) == WHOLE


def test_a_drop_that_changes_during_the_copying_stays_where_it_was(
    source: Path, target: Path, two_mounts: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = durable_files.copy_tree

    def copy(original: Path, into: Path) -> None:
        real(original, into)
        (original / "lamps" / "0002.png").write_bytes(b"two")

    monkeypatch.setattr(durable_files, "copy_tree", copy)
    with pytest.raises(Changed):
        moving.move(source, target)
    assert contents(source) == WHOLE | {"lamps/0002.png": b"two"}
    assert list(target.parent.iterdir()) == []


@pytest.mark.parametrize("step", ["copy_tree", "fsync_tree"])
def test_a_copy_between_mounts_that_fails_gives_its_space_back(
    source: Path, target: Path, two_mounts: None, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    real = getattr(durable_files, step)

    def full(*args: Path) -> None:
        real(*args)
        raise OSError(errno.ENOSPC, "No space left on device", str(args[-1]))

    monkeypatch.setattr(durable_files, step, full)
    with pytest.raises(OSError, match="No space"):
        moving.move(source, target)
    assert list(target.parent.iterdir()) == []
    assert contents(source) == WHOLE


# -- an interrupted move ----------------------------------------------------------------------------


def test_an_original_that_cannot_be_removed_is_no_drop_any_more(
    source: Path, target: Path, two_mounts: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its copy may be taken and made before it is tried again: by its name it would be made a second time."""

    def fails(path: Path) -> None:
        raise OSError(errno.EIO, "Input/output error", str(path))

    monkeypatch.setattr(moving.shutil, "rmtree", fails)
    with pytest.raises(OSError, match="Input/output"):
        moving.move(source, target)
    assert contents(target) == WHOLE
    assert not source.exists()
    (left,) = source.parent.iterdir()
    assert moving.UNFINISHED.fullmatch(left.name), "recovery removes it"


def test_a_move_cut_off_while_the_original_was_removed_is_finished(source: Path, target: Path) -> None:
    durable_files.copy_tree(source, target)
    (source / "job.toml").unlink()
    assert moving.finish_move(source, target)
    assert not source.exists()
    assert contents(target) == WHOLE


def test_where_original_and_copy_differ_both_stay(source: Path, target: Path) -> None:
    durable_files.copy_tree(source, target)
    (source / "lamps" / "0001.png").write_bytes(b"new")
    os.utime(source / "lamps" / "0001.png", ns=(1, 1))
    assert not moving.finish_move(source, target)
    assert contents(source) == WHOLE | {"lamps/0001.png": b"new"}
    assert contents(target) == WHOLE


def test_without_a_target_there_is_no_move_to_finish(source: Path, target: Path) -> None:
    assert not moving.finish_move(source, target)
    assert contents(source) == WHOLE


# -- names ------------------------------------------------------------------------------------------


def test_free_name_counts_up(tmp_path: Path) -> None:
    (tmp_path / "van").mkdir()
    (tmp_path / "van-2").symlink_to("nowhere")
    assert moving.free_name(tmp_path, "van").name == "van-3"


@pytest.mark.parametrize("letter", ["x", "\u00e9", "\U0001f69a"])
def test_names_as_long_as_they_can_be_are_counted_too(tmp_path: Path, letter: str) -> None:
    """255 bytes: NAME_MAX (limits.h); letters of one, two and four bytes of UTF-8."""
    name = letter * (255 // len(letter.encode()))
    for _ in range(12):
        place = moving.free_name(tmp_path, name)
        assert place.name.startswith(letter * 60)
        place.mkdir()
    assert len(list(tmp_path.iterdir())) == 12


def test_a_name_that_is_not_utf_8_can_be_written_down(tmp_path: Path) -> None:
    name = os.fsdecode(b"b\xffrek.png")
    assert moving.readable(name) == "b_rek.png"
    assert moving.readable("börek.png") == "börek.png"


# -- removing ---------------------------------------------------------------------------------------


def test_a_link_is_removed_and_not_what_it_leads_to(source: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(source)
    moving.remove(tmp_path / "link", tmp_path / "not-there")
    assert not os.path.lexists(tmp_path / "link")
    assert contents(source) == WHOLE


def test_a_folder_with_the_name_of_a_file_of_ours_gets_another(tmp_path: Path) -> None:
    (tmp_path / "REJECTED.txt").mkdir()
    (tmp_path / "REJECTED.txt" / "mine.txt").write_text("mine")
    (tmp_path / "REJECTED.html").write_text("a file stays")
    moving.rename_folders(tmp_path, ("REJECTED.txt", "REJECTED.html", "REJECTED.json"))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["REJECTED.html", "REJECTED.txt-2"]
    assert (tmp_path / "REJECTED.txt-2" / "mine.txt").read_text() == "mine"
