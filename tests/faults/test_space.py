"""Real file systems that are full, out of inodes or read-only: the service pauses, says so and goes on."""

from __future__ import annotations

import errno
import os
import subprocess
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from faults import promises
from faults.live import running
from faults.promises import Asked, Laid
from faults.scenarios import draw, mounted, shop_in
from keyturn.outbox import record_files, shop_state
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.state_records import ShopState
from samples import PATIENCE_S, until
from shop_runs import service_of


@pytest.fixture(autouse=True)
def mounting_is_allowed(desk: Path) -> None:
    try:
        with mounted(desk / "probe", "any", options="size=1m"):
            return
    except OSError as error:
        pytest.skip(str(error))


@pytest.fixture(autouse=True)
def no_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    service = ("backoff.RETRY_FIRST_S", "backoff.RETRY_MOST_S", "status.BOARD_EVERY_S", "set_aside.LOOK_EVERY_S")
    for name in (*(f"service.{name}" for name in service), "inbox.waiting.HOLD_S"):
        monkeypatch.setattr(f"keyturn.{name}", 0.05)


def lay_hidden(shop: Shop) -> list[Laid]:
    """Two drops that a rename each will make appear, which needs no space."""
    good, bad = draw(shop.inbox / ".van", 1), draw(shop.inbox / ".bad", 5)
    (bad / "lamps" / "0006.png").write_bytes(b"broken")
    return [Laid("van", promises.contents(good), "ready"), Laid("bad", promises.contents(bad), "refused")]


def show(shop: Shop, drops: list[Laid]) -> None:
    for drop in drops:
        (shop.inbox / f".{drop.name}").rename(shop.inbox / drop.name)


def goes_on_after(
    shop: Shop, drops: list[Laid], hamper: Callable[[], object], mend: Callable[[], object], *, strikes: bool = True
) -> None:
    """`hamper` shows the drops to a running service; it pauses and refuses nobody; `mend`, and all is made.

    Where the fault need not strike (`strikes`), the drops may also be made in spite of it. Where it lets the other
    drop go on, it counts as the first one's own, which is set aside until the disk is mended.
    """

    def made() -> bool:
        return len(promises.revisions(shop)) == 1 and (shop.rejects / "bad").exists()

    with running(shop) as service:
        hamper()
        until(lambda: bool(service._loop_state().paused) or is_aside(service) or (not strikes and made()))
        asked = Asked()
        promises.at_any_instant(shop, drops, asked)
        assert not asked.broken
        refused = [record_files.read_rejection(p) for p in shop.rejects.iterdir()]
        assert not [r for r in refused if r and r.drop != "bad"], "the shop's fault costs nobody anything"
        mend()
        until(made)
        until(lambda: service.state().paused is None and service.state().working == ())
        until(lambda: service.state().ready_total == service.state().refused_total == 1)
    asked = Asked()
    promises.after_recovery(shop, drops, asked)
    assert asked.count > 10
    assert not asked.broken


def is_aside(service: Service) -> bool:
    return [drop.name for drop in service._loop_state().aside] == ["van"]


def fill(folder: Path, leave: int) -> Path:
    """Fills the file system `folder` lies on but for `leave` bytes."""
    ballast = folder / ".ballast"
    with ballast.open("wb", buffering=0) as file, suppress(OSError):
        while file.write(bytes(4096)):
            pass
    os.truncate(ballast, max(0, ballast.stat().st_size - leave))
    return ballast


@pytest.mark.parametrize("leave_kib", [0, 8, 24, 48, 96])
def test_a_full_disk(desk: Path, leave_kib: int) -> None:
    """The disk is full from the start, or fills up somewhere on the drops' way."""
    root = desk / f"full-{leave_kib}"
    with mounted(root, "", options="size=1500k"):
        shop = shop_in(root / "shop")
        drops = lay_hidden(shop)

        def hamper() -> None:
            fill(root, leave_kib * 1024)
            show(shop, drops)

        goes_on_after(shop, drops, hamper, (root / ".ballast").unlink, strikes=leave_kib == 0)


@pytest.mark.parametrize("leave", [0, 2, 5, 9, 12])
def test_a_disk_without_inodes(desk: Path, leave: int) -> None:
    root = desk / f"inodes-{leave}"
    with mounted(root, "", options="size=32m,nr_inodes=200"):
        shop = shop_in(root / "shop")
        drops = lay_hidden(shop)
        crowd = root / "crowd"
        crowd.mkdir()

        def hamper() -> None:
            with pytest.raises(OSError, match=os.strerror(errno.ENOSPC)):
                for number in range(10_000):
                    (crowd / str(number)).touch()
            for number in range(leave):
                (crowd / str(number)).unlink()
            show(shop, drops)

        def mend() -> None:
            for path in crowd.iterdir():
                path.unlink()

        goes_on_after(shop, drops, hamper, mend, strikes=leave < 9)


@pytest.mark.parametrize("name", ["inbox", "work", "outbox", "archive", "rejects"])
def test_a_folder_that_becomes_read_only(desk: Path, name: str) -> None:
    root = desk / f"read-only-{name}"

    def remount(how: str) -> None:
        while subprocess.run(["mount", "-o", f"remount,{how}", root / name], capture_output=True).returncode:
            time.sleep(0.01)  # a file is open for writing there just now

    def hamper() -> None:
        if name == "inbox":
            show(shop, drops)  # to be taken when it is read-only already
        remount("ro")
        if name != "inbox":
            show(shop, drops)

    with mounted(root, name):
        shop = shop_in(root)
        drops = lay_hidden(shop)
        goes_on_after(shop, drops, hamper, lambda: remount("rw"), strikes=name != "inbox")


@pytest.mark.parametrize("how", ["full", "read-only"])
def test_a_service_that_starts_on_such_a_disk_is_running_and_paused(desk: Path, how: str) -> None:
    """Its reserve lets it say so on a full disk; on a read-only one status finds out itself. A second service is
    refused, and all is made when the disk is well again."""
    root = desk / f"start-{how}"
    with mounted(root, "", options="size=2500k"):
        shop = shop_in(root / "shop")
        drops = lay_hidden(shop)
        with running(shop):
            until((shop.state / "reserve").exists)
        show(shop, drops)

        def remount(mode: str) -> None:
            subprocess.run(["mount", "-o", f"remount,{mode}", root], check=True)

        fill(root, 0) if how == "full" else remount("ro")
        try:
            service = service_of(shop)
            thread = threading.Thread(target=service.run)
            thread.start()
            states: list[ShopState] = []

            def paused() -> bool:
                states.append(shop_state.current_state(shop))
                return states[-1].running and bool(states[-1].paused)

            until(paused)
            state = states[-1]
            fault = errno.ENOSPC if how == "full" else errno.EROFS
            assert state.running and state.pid == os.getpid()
            assert state.paused and os.strerror(fault) in state.paused
            with pytest.raises(ShopFault, match=rf"process {os.getpid()}\) runs on the shop {shop.root}"):
                service_of(shop).run()
            assert state.out_of_date if how == "read-only" else os.strerror(fault) in shop.board.read_text()
            (root / ".ballast").unlink() if how == "full" else remount("rw")
            until(lambda: len(promises.revisions(shop)) == 1 and (shop.rejects / "bad").exists())
        finally:
            service.stop()
            thread.join(PATIENCE_S)
