"""In folders that others may write into, only what is the service's own is used and removed; links lead nowhere."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from keyturn.shop.own_files import is_own_folder, is_plain_folder, remove_left_over

NAME = re.compile(r"left-\d")
SOMEBODY = 54321

needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can give files to another user")


@pytest.fixture
def shared(tmp_path: Path) -> Path:
    folder = tmp_path / "shared"
    folder.mkdir()
    return folder


def lay(folder: Path, name: str) -> Path:
    (folder / name / "lamps").mkdir(parents=True)
    (folder / name / "lamps" / "0001.png").write_bytes(b"one")
    return folder / name


def test_what_has_the_name_is_removed_and_nothing_else(shared: Path) -> None:
    lay(shared, "left-1")
    (shared / "left-2").write_bytes(b"a file")
    kept = [lay(shared, "left-12"), lay(shared, "not-left-1"), lay(shared, "other") / "left-1"]
    kept[-1].mkdir()
    remove_left_over(shared, NAME)
    assert {p.name for p in shared.iterdir()} == {"left-12", "not-left-1", "other"}
    assert all(path.exists() for path in kept)


def test_a_link_is_removed_and_not_what_it_leads_to(shared: Path, tmp_path: Path) -> None:
    theirs = lay(tmp_path, "theirs")
    (shared / "left-1").symlink_to(theirs)
    (lay(shared, "left-2") / "in").symlink_to(theirs)
    remove_left_over(shared, NAME)
    assert list(shared.iterdir()) == []
    assert (theirs / "lamps" / "0001.png").read_bytes() == b"one"


def test_in_a_folder_that_is_a_link_nothing_is_removed(shared: Path, tmp_path: Path) -> None:
    lay(shared, "left-1")
    (tmp_path / "link").symlink_to(shared)
    for folder in (tmp_path / "link", tmp_path / "nothing", shared / "left-1" / "lamps" / "0001.png"):
        remove_left_over(folder, NAME)
    assert (shared / "left-1" / "lamps" / "0001.png").exists()


@needs_root
def test_what_belongs_to_somebody_else_stays(shared: Path) -> None:
    os.chown(lay(shared, "left-1"), SOMEBODY, SOMEBODY)
    remove_left_over(shared, NAME)
    assert (shared / "left-1").is_dir()
    remove_left_over(shared, NAME, of_anyone=True)
    assert not (shared / "left-1").exists()


@needs_root
def test_on_a_share_that_gives_everything_to_one_user_that_users_files_are_ours(shared: Path) -> None:
    for path in (shared, lay(shared, "left-1")):
        os.chown(path, SOMEBODY, SOMEBODY)
    assert is_own_folder(shared / "left-1")
    remove_left_over(shared, NAME)
    assert list(shared.iterdir()) == []


def test_only_a_folder_is_a_folder(shared: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(shared)
    (tmp_path / "file").touch()
    for look in (is_own_folder, is_plain_folder):
        assert look(shared)
        assert not any(look(tmp_path / name) for name in ("link", "file", "nothing", "file/x"))


@needs_root
def test_a_folder_of_somebody_else_is_not_our_own(shared: Path) -> None:
    os.chown(shared, SOMEBODY, SOMEBODY)
    assert not is_own_folder(shared) and is_plain_folder(shared)
