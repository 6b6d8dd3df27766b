"""Who may read and write what the service leaves, under any umask (umask(2), inode(7))."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from keyturn.shop.file_modes import close_to_group, group_reads, keep_mode, make_folder, open_to_group, set_mode

needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can give files to another user")


@pytest.fixture(params=[0o077, 0o002, 0o022], ids=oct, autouse=True)
def umask(request: pytest.FixtureRequest) -> Iterator[None]:
    before = os.umask(request.param)
    yield
    os.umask(before)


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    folder = tmp_path / "van"
    (folder / "lamps").mkdir(parents=True)
    (folder / "lamps" / "0001.png").write_bytes(b"one")
    return folder


def modes(tree: Path) -> list[int]:
    return [stat.S_IMODE(path.lstat().st_mode) for path in (tree, *sorted(tree.rglob("*")))]


def test_what_is_closed_is_the_groups_to_read_and_its_own_to_write(tree: Path) -> None:
    close_to_group(tree)
    assert modes(tree) == [0o2750, 0o2750, 0o640]


def test_what_is_opened_is_the_groups_to_change(tree: Path) -> None:
    open_to_group(tree)
    assert all(mode & 0o2070 == 0o2070 for mode in modes(tree)[:2])
    assert modes(tree)[2] & 0o060 == 0o060
    before = modes(tree)[0]
    open_to_group(tree / "lamps" / "0001.png")
    assert modes(tree)[0] == before


def test_no_link_and_no_second_name_is_followed(tree: Path, tmp_path: Path) -> None:
    """A file of the service elsewhere must not become the group's because an artist's drop leads to it."""
    (tmp_path / "state").mkdir()
    ledger = tmp_path / "state" / "ledger"
    ledger.write_bytes(b"private")
    (tree / "link").symlink_to(ledger)
    (tree / "folder").symlink_to(ledger.parent)
    (tree / "second-name").hardlink_to(ledger)
    os.mkfifo(tree / "pipe")
    before = modes(ledger.parent)
    open_to_group(tree)
    open_to_group(tree / "folder")
    assert modes(ledger.parent) == before


@needs_root
def test_what_is_somebody_elses_stays_as_it_is(tree: Path) -> None:
    for path in (tree, tree / "lamps"):
        os.chown(path, 54321, -1)
    (tree / "REJECTED.txt").write_text("why")
    before = modes(tree)
    open_to_group(tree)
    assert modes(tree)[1] & 0o060 == 0o060, "the page is ours"
    assert modes(tree)[:1] + modes(tree)[2:] == before[:1] + before[2:]


def test_a_path_beyond_the_systems_longest_stands_not_in_the_way(tree: Path) -> None:
    """path_resolution(7): a path has at most 4,096 bytes; a folder may lie deeper all the same."""
    descriptor = os.open(tree, os.O_RDONLY)
    for _ in range(30):
        os.mkdir("x" * 200, dir_fd=descriptor)
        below = os.open("x" * 200, os.O_RDONLY, dir_fd=descriptor)
        os.close(descriptor)
        descriptor = below
    open_to_group(tree)
    assert os.fstat(descriptor).st_mode & 0o2070 == 0o2070
    os.close(descriptor)


def test_a_folder_is_made_with_its_mode_and_keeps_another(tmp_path: Path) -> None:
    make_folder(tmp_path / "a" / "b", 0o2770)
    assert stat.S_IMODE((tmp_path / "a" / "b").stat().st_mode) == 0o2770
    make_folder(tmp_path / "a" / "b", 0o750)
    assert stat.S_IMODE((tmp_path / "a" / "b").stat().st_mode) == 0o2770
    keep_mode(tmp_path / "a" / "b", 0o2750)
    assert stat.S_IMODE((tmp_path / "a" / "b").stat().st_mode) == 0o2750


def test_what_the_service_makes_the_group_may_read_and_others_not(tmp_path: Path) -> None:
    with group_reads():
        (tmp_path / "board.html").touch()
        (tmp_path / "folder").mkdir()
    assert stat.S_IMODE((tmp_path / "board.html").stat().st_mode) == 0o640
    assert stat.S_IMODE((tmp_path / "folder").stat().st_mode) & 0o777 == 0o750


@pytest.mark.parametrize("before", [0o2750, 0o2777, 0o750])
@pytest.mark.parametrize("has_lists", [True, False])
def test_rights_are_set_where_the_set_gid_bit_may_not_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: int, has_lists: bool
) -> None:
    """systemd.exec(5), RestrictSUIDSGID=: EPERM. xattr(7): ENOTSUP where the file system has no access lists."""
    tmp_path.chmod(before)
    real = os.chmod

    def chmod(place: int | Path, mode: int) -> None:
        if mode & 0o6000:
            raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))
        real(place, mode)

    def setxattr(*arguments: object) -> None:
        raise OSError(errno.ENOTSUP, os.strerror(errno.ENOTSUP))

    monkeypatch.setattr(os, "chmod", chmod)
    if not has_lists:
        monkeypatch.setattr(os, "setxattr", setxattr)
    set_mode(tmp_path, 0o2770)
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o770 | (before & 0o2000 if has_lists else 0)
