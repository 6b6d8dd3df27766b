"""Board and state file are written when something changed, and once a minute otherwise."""

from __future__ import annotations

import errno
import math
import os
from dataclasses import replace
from pathlib import Path

import pytest
from loguru import logger

from keyturn.outbox import revision_life, shop_state
from keyturn.outbox.ledger import Ledger
from keyturn.service import status
from keyturn.service.status import BOARD_AT_LEAST_EVERY_S, BOARD_EVERY_S, FOLLOW_EVERY_S, LoopState, StatusWriter
from keyturn.service.systemd import Notifier
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from keyturn.shop.papers import Letterhead
from keyturn.shop.slips import Slip
from keyturn.shop.state_records import PlaceCounts, ShopState, Waiting
from page_records import job
from samples import Clock

QUIET = LoopState("", "polling", (), 0, ())


@pytest.fixture
def writer(shop: Shop, clock: Clock) -> StatusWriter:
    ledger, _ = Ledger.opened(shop.state / "ledger.sqlite3")
    return StatusWriter(shop, ledger, Notifier.from_env({}), lambda: "2026-03-01T09:30:00+00:00", clock)


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The status line of each board that was written."""
    lines: list[str] = []
    real = shop_state.write_board

    def noting(shop: Shop, state: ShopState, letterhead: Letterhead) -> None:
        lines.append(shop_state.status_line(state))
        real(shop, state, letterhead)

    monkeypatch.setattr(status.shop_state, "write_board", noting)
    return lines


def test_while_nothing_changes_it_is_written_once_a_minute_so_that_it_does_not_look_stopped(
    writer: StatusWriter, clock: Clock, written: list[str]
) -> None:
    for _ in range(60):
        writer.write_if_due(QUIET)
        clock.at += 5
    assert len(written) == 300 / BOARD_AT_LEAST_EVERY_S


def test_a_change_is_written_at_once_but_a_second_one_only_after_two_seconds(
    writer: StatusWriter, clock: Clock, written: list[str]
) -> None:
    one = (Waiting(name="van", files=3, since=""),)
    writer.write_if_due(QUIET)
    assert writer.due_in_s() == math.inf
    clock.at += BOARD_EVERY_S / 2
    writer.write_if_due(LoopState("", "polling", one, 1, ()))
    assert len(written) == 1
    assert writer.due_in_s() == BOARD_EVERY_S / 2, "the loop comes back then"
    clock.at += writer.due_in_s()
    writer.write_if_due(LoopState("", "polling", one, 1, ()))
    assert written[1:] == ["1 waiting, 0 ready, 0 refused"]
    assert writer.due_in_s() == math.inf


def test_a_failed_hook_is_in_the_state_that_status_shows(writer: StatusWriter, shop: Shop) -> None:
    writer.write_if_due(LoopState("", "polling", (), 0, (), ("ready: the hook mail ended with code 1",)))
    known = shop_state.read_state(shop)
    assert known is not None and known.hook_faults == ("ready: the hook mail ended with code 1",)


def test_of_a_thousand_waiting_drops_the_first_are_named_and_all_counted(
    writer: StatusWriter, shop: Shop, written: list[str]
) -> None:
    first = tuple(Waiting(name=f"van-{number:03d}", files=3, since="") for number in range(100))
    writer.write_if_due(LoopState("", "polling", first, 1000, ()))
    assert written == ["1000 waiting, 0 ready, 0 refused"]
    assert "and 960 more" in shop.board.read_text(encoding="utf-8")
    known = shop_state.read_state(shop)
    assert known is not None and (len(known.waiting), known.waiting_total) == (100, 1000)


class FullDisk:
    """A disk on which nothing is written unless somebody has given room back. `free` is that room, in bytes."""

    def __init__(self, shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
        self.free, self.full = 0, False
        self._write, self._unlink = durable_files.write_atomic, Path.unlink
        self._reserve = shop.state / "reserve"
        monkeypatch.setattr(durable_files, "write_atomic", self._written)
        monkeypatch.setattr(Path, "unlink", lambda path, missing_ok=False: self._unlinked(path, missing_ok))
        real = os.posix_fallocate
        monkeypatch.setattr(os, "posix_fallocate", lambda *where: self._laid(where[2]) or real(*where))

    def _take(self, size: int) -> None:
        if self.full and size > self.free:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def _laid(self, size: int) -> None:
        self._take(size)
        self.free = 0

    def _written(self, path: Path, data: bytes) -> None:
        self._take(len(data))
        self._write(path, data)

    def _unlinked(self, path: Path, missing_ok: bool) -> None:
        self.free += path.stat().st_size if path == self._reserve and path.exists() else 0
        self._unlink(path, missing_ok)


def test_on_a_full_disk_the_reserve_is_given_up_for_state_and_board_and_laid_down_again(
    writer: StatusWriter, shop: Shop, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = FullDisk(shop, monkeypatch)
    writer.write_if_due(QUIET)
    disk.full = True
    for fault in ("No space left on device", "No space left, again"):
        clock.at += 5
        writer.write_if_due(LoopState(fault, "polling", (), 0, ()))
        known = shop_state.read_state(shop)
        assert known is not None and known.paused == fault
        assert fault in shop.board.read_text(encoding="utf-8")
    assert (shop.state / "reserve").is_file()


def test_a_disk_that_takes_nothing_is_told_to_the_service_manager_all_the_same(
    writer: StatusWriter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """sd_notify(3): STATUS= needs no disk."""
    told: list[str] = []
    monkeypatch.setattr(Notifier, "_send", lambda self, *lines: told.extend(lines))

    def read_only(path: Path, data: bytes) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), f".keyturn-{len(told):012}.tmp")

    monkeypatch.setattr(durable_files, "write_atomic", read_only)
    logged: list[str] = []
    logger.add(logged.append, format="{message}", level="WARNING")
    for _ in range(3):
        writer.write_if_due(LoopState("Read-only file system", "polling", (), 0, ()))
        clock.at += 5
    assert told == ["STATUS=Paused: Read-only file system"] * 3
    assert len(logged) == 1, "the same fault is logged once"


def test_where_the_ledger_cannot_be_read_the_results_that_were_known_last_stay(
    writer: StatusWriter, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop_state.write_state(shop, ShopState(at="2026-03-01T09:29:00+00:00", running=True, ready_total=12))

    def fails(self: Ledger) -> tuple[int, int]:
        raise OSError(errno.EIO, "ledger: disk I/O error")

    monkeypatch.setattr(Ledger, "counts", fails)
    writer.write_if_due(LoopState("Read-only file system", "polling", (), 0, ()))
    known = shop_state.read_state(shop)
    assert known is not None and (known.paused, known.ready_total) == ("Read-only file system", 12)


def test_a_start_that_waits_is_on_board_and_status_once_the_shop_is_this_service_s(
    writer: StatusWriter, shop: Shop
) -> None:
    (shop.work / "C" / "drop").mkdir(parents=True)
    shop_state.write_state(
        shop, ShopState(at="2026-03-01T09:29:00+00:00", running=False, ready_total=12, settings_fault="of then")
    )
    writer.announce_pause("Input/output error")
    known = shop_state.read_state(shop)
    assert known is not None and known.paused is None, "before, the files may be another service's"
    writer.is_ours = True
    writer.announce_pause("Input/output error")
    known = shop_state.read_state(shop)
    assert known is not None
    assert (known.running, known.pid, known.paused) == (True, os.getpid(), "Input/output error")
    assert (known.ready_total, known.settings_fault, [w.name for w in known.working]) == (12, None, ["C"])
    assert "Input/output error" in shop.board.read_text(encoding="utf-8")


def test_what_is_written_beside_a_revision_is_followed_and_the_shops_approval_counts(
    writer: StatusWriter, shop: Shop, clock: Clock
) -> None:
    path = "c/van-r1"
    (shop.outbox / path).mkdir(parents=True)
    record = job(customer="C", job="van", made_at="2026-03-01T09:00:00+00:00")
    Ledger(shop.state / "ledger.sqlite3").add_ready(path, record)
    asks = replace(QUIET, approval=True)
    assert writer.state(QUIET).places is None
    assert writer.state(asks).places == PlaceCounts(customer=1)
    said = {"customer": "C", "job": "van", "revision": 1, "path": path, "digest": "ab" * 32, "answer": "yes"}
    slip = Slip.model_validate(said | {"kind": "answer", "id": "slip-0001", "at": "2026-03-01T09:10:00+00:00"})
    revision_life.enter(shop.outbox / path, slip)
    clock.at += FOLLOW_EVERY_S
    for loop in (QUIET, asks):
        (placed,) = writer.state(loop).jobs
        assert (placed.place, placed.said) == ("stick", "yes")
    (shop.outbox / path / "answer.json").unlink()
    clock.at += FOLLOW_EVERY_S
    assert writer.state(QUIET).places is None
