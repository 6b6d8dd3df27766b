"""The start waits for the disk, and the service manager hears what sd_notify(3) lets a start say."""

from __future__ import annotations

import errno

import pytest

from keyturn.outbox.ledger import Ledger
from keyturn.service.backoff import Backoff
from keyturn.service.start_up import STEP_S, StartUp
from keyturn.service.status import StatusWriter
from keyturn.service.systemd import Notifier
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault


class Clock:
    at = 1000.0

    def __call__(self) -> float:
        return self.at

    def sleep(self, seconds: float) -> None:
        self.at += seconds


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def messages(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the service manager hears."""
    lines: list[str] = []
    monkeypatch.setattr(Notifier, "_send", lambda self, *sent: lines.extend(sent))
    return lines


@pytest.fixture
def start_up(shop: Shop, clock: Clock, messages: list[str]) -> StartUp:
    notifier, backoff = Notifier(watchdog_interval_s=30.0), Backoff(clock)
    status = StatusWriter(shop, Ledger(shop.state / "ledger.sqlite3"), notifier, lambda: "", clock)
    return StartUp(backoff, status, notifier, lambda: clock.at >= 2000, clock.sleep)


class Step:
    """A step of the start that fails some times before it works."""

    def __init__(self, failures: int, number: int = errno.EIO) -> None:
        self.failures, self.number, self.calls = failures, number, 0

    def __call__(self) -> None:
        self.calls += 1
        if self.calls <= self.failures:
            raise OSError(self.number, "Input/output error", "keyturn.toml")


def test_a_step_that_works_is_done_once_and_says_nothing(start_up: StartUp, messages: list[str]) -> None:
    step = Step(0)
    start_up.do(step)
    assert (step.calls, messages) == (1, [])


def test_a_step_is_tried_again_after_each_pause(start_up: StartUp, clock: Clock, messages: list[str]) -> None:
    step = Step(3)
    start_up.do(step)
    assert step.calls == 4
    assert clock.at == 1000 + 2 + 4 + 8
    assert messages[:2] == ["READY=1", next(m for m in messages if m.startswith("STATUS=Paused: Input/output error"))]
    assert messages.count("WATCHDOG=1") == 2 + 4 + 8, "a sign of life each second"


def test_it_waits_for_a_share_that_is_not_mounted_yet(start_up: StartUp, shop: Shop, messages: list[str]) -> None:
    shop.inbox.rename(shop.root / "elsewhere")
    asked: list[int] = []

    def look() -> None:
        asked.append(1)
        if len(asked) == 3:
            (shop.root / "elsewhere").rename(shop.inbox)
        shop.require()

    start_up.do(look)
    assert len(asked) == 3
    assert f"STATUS=Paused: {shop.inbox} is not there -> mount it" in next(m for m in messages if "Paused" in m)


def test_where_there_is_no_shop_it_says_so_at_once(start_up: StartUp, shop: Shop) -> None:
    shop.state.rename(shop.root / "elsewhere")
    with pytest.raises(ShopFault, match="keyturn init"):
        start_up.do(shop.require)


def test_when_the_service_is_stopped_it_waits_no_longer(start_up: StartUp, clock: Clock) -> None:
    step = Step(1000)
    start_up.do(step)
    assert clock.at >= 2000
    assert step.calls < 30


def test_what_waiting_does_not_mend_is_raised(start_up: StartUp) -> None:
    def wrong() -> None:
        raise ShopFault("keyturn.toml is wrong", "mend it")

    with pytest.raises(ShopFault):
        start_up.do(wrong)
    with pytest.raises(OSError, match="Input/output"):
        start_up.do(Step(1, errno.ELOOP))


def test_until_it_is_ready_the_start_asks_for_time_and_afterwards_it_shows_life(
    start_up: StartUp, messages: list[str]
) -> None:
    """sd_notify(3): EXTEND_TIMEOUT_USEC= is in microseconds and extends the timeout of the start under way;
    WATCHDOG_USEC= resets the time that the watchdog allows, until it is reset again."""
    start_up.ask_for_time()
    start_up.end()
    start_up.ask_for_time()
    start_up.show_life()
    start_up.show_life()
    step, usual = f"{int(STEP_S) * 1_000_000}", f"{60 * 1_000_000}"
    asked = [f"EXTEND_TIMEOUT_USEC={step}", "READY=1", f"WATCHDOG_USEC={step}", "WATCHDOG=1"]
    assert messages == [*asked, f"WATCHDOG_USEC={usual}", "WATCHDOG=1", "WATCHDOG=1"]


def test_a_start_that_waited_has_said_ready_and_then_shows_life(start_up: StartUp, messages: list[str]) -> None:
    start_up.do(Step(1))
    messages.clear()
    start_up.ask_for_time()
    assert messages[-1] == "WATCHDOG=1" and not any(line.startswith("EXTEND") for line in messages)
