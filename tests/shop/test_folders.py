"""The shop's folders: who may use them, and the lock that lets one service run."""

from __future__ import annotations

import errno
import fcntl
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault


@pytest.mark.parametrize("umask", [0o077, 0o022, 0o002], ids=oct)
def test_the_group_may_put_in_and_take_out_where_it_works_and_nobody_else_comes_in(tmp_path: Path, umask: int) -> None:
    """inode(7): set-gid hands the group on; in a sticky folder only the owner may remove or rename what is his."""
    before = os.umask(umask)
    try:
        Shop(tmp_path / "shop").create()
    finally:
        os.umask(before)
    shop = Shop(tmp_path / "shop")
    modes = {path.name: path.stat().st_mode & 0o7777 for path in (shop.root, *shop.root.iterdir())}
    shared = {"inbox": 0o2770, "outbox": 0o3770, "rejects": 0o2770}
    private = {"archive": 0o2750, "work": 0o2750, "state": 0o750, "rules": 0o750, "fonts": 0o750}
    assert modes == {"shop": 0o750} | shared | private


def test_a_missing_shop_is_named_with_the_remedy(tmp_path: Path) -> None:
    with pytest.raises(ShopFault, match="keyturn init"):
        Shop(tmp_path / "nothing").require()


def test_one_service_a_shop(shop: Shop) -> None:
    assert not shop.is_running()
    with shop.held():
        assert shop.is_running()
        with pytest.raises(ShopFault, match="another keyturn"), shop.held():
            pass
        assert shop.lock.read_text().strip() == str(os.getpid())
    assert not shop.is_running()


def test_who_asks_whether_a_service_runs_does_not_keep_one_from_starting(shop: Shop) -> None:
    """flock(2): asking takes a shared lock for an instant. Here it is held for 0.2 s."""
    shop.lock.touch()
    with shop.lock.open("rb") as asking:
        fcntl.flock(asking, fcntl.LOCK_SH)
        let_go = threading.Timer(0.2, lambda: fcntl.flock(asking, fcntl.LOCK_UN))
        let_go.start()
        with shop.held():
            pass
        let_go.join()


def test_folders_that_are_there_keep_their_mode_and_what_is_in_them(shop: Shop) -> None:
    shop.inbox.chmod(0o700)
    (shop.inbox / "van-two").mkdir()
    shop.rejects.rmdir()
    shop.create()
    assert shop.inbox.stat().st_mode & 0o7777 == 0o700
    assert (shop.inbox / "van-two").is_dir()
    assert shop.rejects.is_dir()


def test_a_disk_that_takes_no_folder_is_the_shops_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: Path, *args: object, **named: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(self))

    monkeypatch.setattr(Path, "mkdir", full)
    with pytest.raises(ShopFault, match="No space left on device"):
        Shop(tmp_path / "shop").create()


def test_the_lock_is_free_again_when_its_holder_is_killed(shop: Shop) -> None:
    """flock(2): the lock goes when the last descriptor of the open file is closed, which the system does here."""
    code = "import sys, time; from pathlib import Path; from keyturn.shop.folders import Shop\n"
    code += "with Shop(Path(sys.argv[1])).held(): print('held', flush=True); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", code, str(shop.root)], stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None and holder.stdout.readline() == "held\n"
        assert shop.is_running()
        holder.kill()
    assert not shop.is_running()
    with shop.held():
        pass


def test_revisions_are_built_in_the_outbox(shop: Shop) -> None:
    """rename(2) works within one file system only: EXDEV."""
    assert shop.building.parent == shop.outbox
