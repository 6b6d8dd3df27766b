"""Board and state file are written when something changed, and once a minute otherwise."""

from __future__ import annotations

import math

import pytest

from keyturn.outbox import shop_state
from keyturn.outbox.ledger import Ledger
from keyturn.service import status
from keyturn.service.status import BOARD_AT_LEAST_EVERY_S, BOARD_EVERY_S, LoopState, StatusWriter
from keyturn.service.systemd import Notifier
from keyturn.shop.folders import Shop
from keyturn.shop.state_records import ShopState, Waiting
from samples import Clock

QUIET = LoopState("", "polling", (), 0, None)


@pytest.fixture
def writer(shop: Shop, clock: Clock) -> StatusWriter:
    ledger, _ = Ledger.opened(shop.state / "ledger.sqlite3")
    return StatusWriter(shop, ledger, Notifier.from_env({}), lambda: "2026-03-01T09:30:00+00:00", clock)


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The status line of each board that was written."""
    lines: list[str] = []
    real = shop_state.write_board

    def noting(shop: Shop, state: ShopState) -> None:
        lines.append(shop_state.status_line(state))
        real(shop, state)

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
    writer.write_if_due(LoopState("", "polling", one, 1, None))
    assert len(written) == 1
    assert writer.due_in_s() == BOARD_EVERY_S / 2, "the loop comes back then"
    clock.at += writer.due_in_s()
    writer.write_if_due(LoopState("", "polling", one, 1, None))
    assert written[1:] == ["1 waiting, 0 ready, 0 refused"]
    assert writer.due_in_s() == math.inf


def test_a_failed_hook_is_in_the_state_that_status_shows(writer: StatusWriter, shop: Shop) -> None:
    writer.write_if_due(LoopState("", "polling", (), 0, None, ("ready: the hook mail ended with code 1",)))
    known = shop_state.read_state(shop)
    assert known is not None and known.hook_faults == ("ready: the hook mail ended with code 1",)


def test_of_a_thousand_waiting_drops_the_first_are_named_and_all_counted(
    writer: StatusWriter, shop: Shop, written: list[str]
) -> None:
    first = tuple(Waiting(name=f"van-{number:03d}", files=3, since="") for number in range(100))
    writer.write_if_due(LoopState("", "polling", first, 1000, None))
    assert written == ["1000 waiting, 0 ready, 0 refused"]
    assert "and 960 more" in shop.board.read_text(encoding="utf-8")
    known = shop_state.read_state(shop)
    assert known is not None and (len(known.waiting), known.waiting_total) == (100, 1000)
