"""The lock of a shop's service: it counts on a full and on a read-only disk too, and tells who holds it."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.shop import service_lock
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault

HOLD = "import sys, time; from pathlib import Path; from keyturn.shop.folders import Shop\n"
HOLD += "with Shop(Path(sys.argv[1])).held(): print('held', flush=True); time.sleep(60)"


def failing(number: int) -> Callable[..., int]:
    def fails(*args: object) -> int:
        raise OSError(number, os.strerror(number))

    return fails


@pytest.fixture
def read_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk takes no file that is opened for writing (open(2): EROFS)."""
    real = os.open

    def opened(path: str, flags: int, *args: int, **named: int) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(path))
        return real(path, flags, *args, **named)

    monkeypatch.setattr(os, "open", opened)


@pytest.mark.parametrize("call", ["pwrite", "ftruncate"])
def test_on_a_full_disk_the_lock_is_held_all_the_same(shop: Shop, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    monkeypatch.setattr(os, call, failing(errno.ENOSPC))
    with shop.held():
        assert shop.is_running()


def test_on_a_read_only_disk_the_lock_of_an_earlier_service_is_held(shop: Shop, read_only: None) -> None:
    shop.lock.write_text("1\n")
    with shop.held():
        assert shop.is_running()
        assert service_lock.holder(shop.lock) == os.getpid(), "not the process that the file names"


def test_on_a_read_only_disk_without_a_lock_the_fault_is_told(shop: Shop, read_only: None) -> None:
    with pytest.raises(OSError, match="Read-only") as told, shop.held():
        pass
    assert told.value.errno == errno.EROFS


def test_a_shorter_name_leaves_nothing_of_the_longer_one(shop: Shop) -> None:
    shop.lock.write_text("12345678901234\n")
    with shop.held():
        assert shop.lock.read_text() == f"{os.getpid()}\n"


@pytest.mark.parametrize("listed", [True, False])
def test_a_second_service_is_refused_with_process_and_shop(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, listed: bool
) -> None:
    """proc_locks(5) lists who holds the lock; where it does not, the file names the process."""
    if not listed:
        monkeypatch.setattr(service_lock, "LOCKS_OF_THE_SYSTEM", tmp_path / "nothing")
    with subprocess.Popen([sys.executable, "-c", HOLD, str(shop.root)], stdout=subprocess.PIPE, text=True) as first:
        assert first.stdout is not None and first.stdout.readline() == "held\n"
        if listed:
            shop.lock.write_text("")  # a full disk took no name
        with pytest.raises(ShopFault, match=rf"process {first.pid}\) runs on the shop {shop.root}"), shop.held():
            pass
        first.kill()


def test_who_waits_for_the_lock_or_shares_it_does_not_hold_it(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """proc_locks(5): a line with -> is a waiting process; READ is a shared lock, as who asks takes it."""
    shop.lock.write_text("77\n")
    seen = shop.lock.stat()
    place = f"{os.major(seen.st_dev):02x}:{os.minor(seen.st_dev):02x}:{seen.st_ino}"
    lines = [f"1: FLOCK  ADVISORY  READ 5 {place} 0 EOF", f"1: -> FLOCK  ADVISORY  WRITE 6 {place} 0 EOF"]
    monkeypatch.setattr(service_lock, "LOCKS_OF_THE_SYSTEM", tmp_path / "locks")
    (tmp_path / "locks").write_text("\n".join([*lines, f"2: FLOCK  ADVISORY  WRITE 8 {place}1 0 EOF"]))
    assert service_lock.holder(shop.lock) == 77
    shop.lock.write_text("")
    assert service_lock.holder(shop.lock) is None
    shop.lock.unlink()
    assert service_lock.holder(shop.lock) is None


def test_who_holds_the_lock_is_told_from_the_one_of_before_that_the_file_still_names(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, read_only: None
) -> None:
    """A read-only disk keeps the name of a service that was killed; proc_locks(5) has the living one."""
    shop.lock.write_text("77\n")
    with shop.held():
        assert service_lock.may_be_held_by(shop.lock, os.getpid())
        assert not service_lock.may_be_held_by(shop.lock, 77)
        monkeypatch.setattr(service_lock, "_own_numbers", lambda pid: [pid, 7])
        assert service_lock.may_be_held_by(shop.lock, 7), "in a container it calls itself 7"
        monkeypatch.setattr(service_lock, "_listed", lambda lock: None)
        assert service_lock.may_be_held_by(shop.lock, 77), "without the list the file counts"


def test_a_process_is_known_by_its_number_here_and_in_its_container() -> None:
    """proc_pid_status(5): NSpid lists the process's numbers, the outermost namespace's first."""
    assert os.getpid() in service_lock._own_numbers(os.getpid())
    assert service_lock._own_numbers(2**22 + 1) == []
