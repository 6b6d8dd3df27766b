"""Writing is durable and atomic; copying follows no link."""

import errno
import hashlib
import os
import shutil
import socket
import stat
import subprocess
from pathlib import Path

import pytest

from keyturn.shop import durable_files


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    top = tmp_path / "drop"
    (top / "lamps" / "deep").mkdir(parents=True)
    (top / "job.toml").write_text('customer = "Fern Hollow Mobile Library"\n')
    (top / "lamps" / "0001.png").write_bytes(b"\x89PNG" * 1000)
    (top / "lamps" / "deep" / "empty").write_bytes(b"")
    return top


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The paths that were fsynced, in order."""
    seen: list[Path] = []
    real = os.fsync

    def fsync(descriptor: int) -> None:
        seen.append(Path(f"/proc/self/fd/{descriptor}").readlink())
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    return seen


def test_a_tree_is_synced_from_the_bottom_up(tree: Path, synced: list[Path]):
    durable_files.fsync_tree(tree)
    assert set(synced) == {tree, *tree.rglob("*")}
    # fsync(2): syncing a file does not sync its entry in the folder, so the folder comes after what is in it.
    for path in tree.rglob("*"):
        assert synced.index(path) < synced.index(path.parent)


def test_a_single_file_is_a_tree_too(tree: Path, synced: list[Path]):
    durable_files.fsync_tree(tree / "job.toml")
    assert synced == [tree / "job.toml"]


def test_links_and_pipes_are_not_opened(tree: Path, tmp_path: Path, synced: list[Path]):
    outside = tmp_path / "outside"
    outside.write_text("private")
    (tree / "link").symlink_to(outside)
    os.mkfifo(tree / "pipe")
    durable_files.fsync_tree(tree)
    assert outside not in synced
    assert tree / "pipe" not in synced


def test_a_share_that_cannot_sync_folders_is_forgiven_but_a_full_disk_is_not(tree: Path, monkeypatch):
    def failing(code: int):
        def fsync(descriptor: int) -> None:
            raise OSError(code, os.strerror(code))

        return fsync

    # fsync(2): EINVAL where the file system does not support synchronisation of this kind of file.
    monkeypatch.setattr(os, "fsync", failing(errno.EINVAL))
    durable_files.fsync_dir(tree)
    with pytest.raises(OSError, match="Invalid"):
        durable_files.fsync_file(tree / "job.toml")
    monkeypatch.setattr(os, "fsync", failing(errno.ENOSPC))
    with pytest.raises(OSError, match="No space"):
        durable_files.fsync_dir(tree)


def test_atomic_writing_syncs_the_bytes_then_the_name(tmp_path: Path, synced: list[Path]):
    target = tmp_path / "board.html"
    target.write_bytes(b"old")
    durable_files.write_atomic(target, b"new")
    assert target.read_bytes() == b"new"
    assert synced[0].parent == tmp_path and synced[0] != target  # the file beside it, before the rename
    assert synced[-1] == tmp_path
    assert [p.name for p in tmp_path.iterdir()] == ["board.html"]


def test_a_failed_atomic_write_leaves_the_old_file_and_no_litter(tmp_path: Path, monkeypatch):
    target = tmp_path / "board.html"
    target.write_bytes(b"old")

    def full(descriptor: int, data: bytes) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(OSError, match="No space"):
        durable_files.write_atomic(target, b"new")
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["board.html"]


def test_a_short_write_is_carried_on(tmp_path: Path, monkeypatch):
    real = os.write
    monkeypatch.setattr(os, "write", lambda fd, data: real(fd, bytes(data)[:3]))  # write(2) may write less
    durable_files.write_atomic(tmp_path / "a", b"0123456789")
    assert (tmp_path / "a").read_bytes() == b"0123456789"


def test_atomic_writing_replaces_a_link_and_leaves_what_it_points_to(tmp_path: Path):
    outside = tmp_path / "outside"
    outside.write_text("private")
    (tmp_path / "REJECTED.txt").symlink_to(outside)
    durable_files.write_atomic(tmp_path / "REJECTED.txt", b"reasons")
    assert outside.read_text() == "private"
    assert (tmp_path / "REJECTED.txt").read_bytes() == b"reasons"


def test_a_name_of_the_longest_length_can_be_written(tmp_path: Path):
    durable_files.write_atomic(tmp_path / ("n" * 255), b"x")  # limits.h NAME_MAX
    assert (tmp_path / ("n" * 255)).read_bytes() == b"x"


def test_a_copied_tree_is_the_same_tree(tree: Path, tmp_path: Path):
    (tree / "link").symlink_to("lamps/0001.png")
    (tree / "folder-link").symlink_to("lamps")
    os.mkfifo(tree / "pipe")
    os.utime(tree / "job.toml", ns=(1_000_000_000_123_456_789, 1_000_000_000_987_654_321))
    durable_files.copy_tree(tree, tmp_path / "copy")
    # GNU diffutils compares names, kinds and contents without following links.
    done = subprocess.run(
        ["diff", "--recursive", "--no-dereference", "--exclude=pipe", tree, tmp_path / "copy"],
        capture_output=True,
        text=True,
    )
    assert (done.returncode, done.stdout) == (0, "")
    assert stat.S_ISFIFO((tmp_path / "copy" / "pipe").lstat().st_mode)
    for path in tree.rglob("*"):
        if not path.is_dir() or path.is_symlink():
            copied = tmp_path / "copy" / path.relative_to(tree)
            assert copied.lstat().st_mtime_ns == path.lstat().st_mtime_ns


def test_a_single_file_a_link_and_a_socket_are_copied_as_what_they_are(tmp_path: Path):
    (tmp_path / "a.zip").write_bytes(b"PK")
    durable_files.copy_tree(tmp_path / "a.zip", tmp_path / "b.zip")
    assert (tmp_path / "b.zip").read_bytes() == b"PK"
    (tmp_path / "link").symlink_to("/etc/hostname")
    durable_files.copy_tree(tmp_path / "link", tmp_path / "link2")
    assert (tmp_path / "link2").readlink() == Path("/etc/hostname")
    place = tmp_path / "s"
    with socket.socket(socket.AF_UNIX) as listening:
        descriptor = os.open(tmp_path, os.O_RDONLY)
        try:
            listening.bind(f"/proc/self/fd/{descriptor}/s")  # unix(7): a socket's path has at most 107 bytes
        finally:
            os.close(descriptor)
    durable_files.copy_tree(place, tmp_path / "s2")
    assert stat.S_ISSOCK((tmp_path / "s2").lstat().st_mode)


def test_copying_never_overwrites(tree: Path, tmp_path: Path):
    (tmp_path / "there").write_text("kept")
    with pytest.raises(FileExistsError):
        durable_files.copy_tree(tree / "job.toml", tmp_path / "there")
    assert (tmp_path / "there").read_text() == "kept"
    with pytest.raises(FileExistsError):
        durable_files.copy_tree(tree, tmp_path)


@pytest.mark.system
@pytest.mark.skipif(not shutil.which("sha256sum"), reason="needs coreutils")
@pytest.mark.parametrize("size", [0, 1, (1 << 20) - 1, (1 << 20) + 7])
def test_digests_agree_with_coreutils(tmp_path: Path, size: int):
    path = tmp_path / "data"
    path.write_bytes(bytes(range(256)) * (size // 256) + b"\0" * (size % 256))
    done = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True)
    assert durable_files.sha256(path) == done.stdout.split()[0]


def test_the_digest_of_nothing_is_the_standards(tmp_path: Path):
    # FIPS 180-4 with the empty message; NIST's published example value for SHA-256("").
    (tmp_path / "empty").touch()
    assert (
        durable_files.sha256(tmp_path / "empty") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    )
    assert durable_files.sha256(tmp_path / "empty") == hashlib.sha256().hexdigest()


def test_a_link_has_no_digest(tmp_path: Path):
    (tmp_path / "link").symlink_to("/etc/hostname")
    with pytest.raises(OSError, match="symbolic links"):
        durable_files.sha256(tmp_path / "link")


def test_only_a_plain_file_of_a_fair_size_is_read(tmp_path: Path):
    (tmp_path / "job.json").write_bytes(b"0123456789")
    assert durable_files.read_plain(tmp_path / "job.json", 10) == b"0123456789"
    assert durable_files.read_plain(tmp_path / "job.json", 9) is None
    (tmp_path / "link").symlink_to("job.json")
    os.mkfifo(tmp_path / "pipe")  # fifo(7): opening one to read waits for a writer, unless O_NONBLOCK is given
    for name in ("link", "pipe", "ghost", "job.json/below", "."):
        assert durable_files.read_plain(tmp_path / name, 10) is None, name


@pytest.mark.parametrize("at_first", [0, 4, 9, 10])
def test_a_file_that_grows_while_it_is_read_counts_with_what_it_has_then(tmp_path: Path, monkeypatch, at_first: int):
    path = tmp_path / "job.json"
    path.write_bytes(b"0123456789"[:at_first])
    real = os.fstat

    def fstat(descriptor: int) -> os.stat_result:
        seen = real(descriptor)
        path.write_bytes(b"0123456789")
        return seen

    monkeypatch.setattr(os, "fstat", fstat)
    assert durable_files.read_plain(path, 10) == b"0123456789"
    path.write_bytes(b"0123456789"[:at_first])
    assert durable_files.read_plain(path, 9) is None


def test_an_error_of_the_disk_is_not_taken_for_a_missing_file(tmp_path: Path, monkeypatch):
    def failing(*arguments: object, **named: object) -> int:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "open", failing)
    with pytest.raises(OSError, match="Input/output error"):
        durable_files.read_plain(tmp_path / "job.json", 10)


def test_whether_we_may_read_is_asked_of_the_system(tmp_path: Path, monkeypatch):
    (tmp_path / "job.json").touch()
    assert durable_files.may_read(tmp_path / "job.json")
    # access(2) answers for the real user; the superuser may read everything, so a refusal is put in its place
    monkeypatch.setattr(os, "access", lambda path, mode: mode != os.R_OK)
    assert not durable_files.may_read(tmp_path / "job.json")


def test_folders_are_made_from_the_top_and_those_there_stay(tmp_path: Path) -> None:
    (tmp_path / "state" / "numbers").mkdir(parents=True)
    (tmp_path / "state" / "numbers" / "kept").touch()
    durable_files.make_folders(tmp_path / "state" / "numbers", tmp_path / "state" / "numbers" / "quarry-bakery")
    assert sorted(p.name for p in (tmp_path / "state" / "numbers").iterdir()) == ["kept", "quarry-bakery"]
