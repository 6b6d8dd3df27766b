"""Watching that cannot go blind: whatever becomes of events and clocks, the next scan takes the drop."""

from __future__ import annotations

import errno
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from faults import promises
from faults.live import running
from faults.promises import Asked, Laid
from faults.scenarios import draw, lay_bad, lay_good
from keyturn.inbox import events
from keyturn.inbox.waiting import Inbox
from keyturn.service.claims import LEAVING
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.workers.crew import InlineCrew
from samples import PATIENCE_S, until


@pytest.fixture
def scans(monkeypatch: pytest.MonkeyPatch) -> list[tuple[bool, bool]]:
    """Of each scan: was the drop "van" in the inbox when it began, and did the scan know it when it ended?"""
    seen: list[tuple[bool, bool]] = []
    real = Inbox.scan

    def scan(self: Inbox, now: float) -> None:
        there = (self._shop.inbox / "van").exists()
        real(self, now)
        seen.append((there, "van" in {waiting.name for waiting in self.waiting()}))

    monkeypatch.setattr(Inbox, "scan", scan)
    return seen


def taken_by_the_next_scan(shop: Shop, scans: list[tuple[bool, bool]]) -> None:
    drawn = draw(shop.root / "drawn" / "van", 1)
    drawn.rename(shop.inbox / "van")
    until(lambda: promises.revisions(shop) != [])
    assert next(known for there, known in scans if there), "the first scan after its arrival knows it"


def test_the_inbox_is_renamed_away_and_made_anew(shop: Shop, scans: list[tuple[bool, bool]]) -> None:
    with running(shop) as service:
        before = service._config.watch._inode
        shop.inbox.rename(shop.root / "old-inbox")
        shop.inbox.mkdir()
        taken_by_the_next_scan(shop, scans)
        until(lambda: service._config.watch._inode not in (before, None))
        assert service._config.watch.description == "events and scans"


def test_a_share_that_went_away_during_a_claim_brings_the_drop_back(shop: Shop) -> None:
    """On another mount a claimed drop is hidden while it is copied; the claim itself failed when the share went."""
    with running(shop):
        hidden = draw(shop.root / "drawn" / "van", 1)
        hidden.rename(shop.inbox / f"{LEAVING}20260301T093000-abc123-van")
        until(lambda: promises.revisions(shop) != [])
    assert [revision.name for revision in promises.revisions(shop)] == ["van-r1"]


def test_the_watcher_dies(shop: Shop, scans: list[tuple[bool, bool]]) -> None:
    with running(shop) as service:
        dead = service._config.watch._observer
        assert dead is not None
        dead.stop()
        dead.join(PATIENCE_S)
        taken_by_the_next_scan(shop, scans)
        until(lambda: service._config.watch._observer not in (dead, None))


def test_the_watcher_lives_and_says_nothing(
    shop: Shop, scans: list[tuple[bool, bool]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(events._WakeOnChange, "on_any_event", lambda self, event: None)
    with running(shop):
        taken_by_the_next_scan(shop, scans)


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EMFILE, errno.ENOSYS])
def test_events_cannot_be_had(
    shop: Shop, scans: list[tuple[bool, bool]], monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """inotify_init(2), inotify_add_watch(2): the limits on instances and watches; no inotify in the kernel."""

    class Deaf:
        def schedule(self, *_: object, **__: object) -> None:
            raise OSError(number, "no inotify")

    monkeypatch.setattr(events, "Observer", Deaf)
    with running(shop) as service:
        taken_by_the_next_scan(shop, scans)
        assert service._config.watch.description == "polling"


# -- clocks ---------------------------------------------------------------------------------------


class LyingClock:
    """Each look at it may be years off; the monotonic one jumps ahead, as after a suspend, or stands still."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)
        self._seconds = 1000.0

    def now(self) -> datetime:
        days = self._random.choice([0, 0, 1, -1, 4000, -9000])
        return datetime(2026, 3, 1, tzinfo=UTC) + timedelta(days=days, seconds=self._seconds)

    def monotonic(self) -> float:
        self._seconds += self._random.choice([0, 0, 0.01, 1, 60, 90_000])
        return self._seconds


@pytest.mark.parametrize("seed", range(4))
def test_clocks_that_jump_lose_nothing_and_double_nothing(shop: Shop, seed: int) -> None:
    laid: list[Laid] = [lay_good(shop), lay_bad(shop)]
    clock = LyingClock(seed)
    service = Service(shop, now=clock.now, monotonic=clock.monotonic, crew_of=lambda settings, rules: InlineCrew())
    service.run(until_quiet=True)
    asked = Asked()
    promises.after_recovery(shop, laid, asked)
    assert asked.broken == []


def test_a_settle_clock_that_is_set_back_begins_anew(shop: Shop, tmp_path: Path) -> None:
    laid = [lay_good(shop)]
    times = iter([50.0, 50.0, 50.0, 10.0])
    last = [10.0]

    def monotonic() -> float:
        last[0] = next(times, last[0] + 0.5)
        return last[0]

    service = Service(shop, monotonic=monotonic, crew_of=lambda settings, rules: InlineCrew())
    service.run(until_quiet=True)
    asked = Asked()
    promises.after_recovery(shop, laid, asked)
    assert asked.broken == []
