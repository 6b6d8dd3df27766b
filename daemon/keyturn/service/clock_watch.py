"""Whether the wall clock can be trusted to tell how old a drop is.

A machine may start with a wrong clock that a time service corrects hours later. So the clock counts as sane only once
it has run evenly with the time since the machine's start for a day of service; state/clock.json keeps how long it has.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from loguru import logger

from keyturn.outbox.record_files import readable_record
from keyturn.shop import durable_files
from keyturn.shop.bounded_record import Record

SANE_AFTER_S = 24 * 3600.0
LONGEST_GAP_S = 24 * 3600.0
LOOK_EVERY_S = 60.0
KEEP_EVERY_S = 600.0
"""How often the record is written while the clock runs evenly, in seconds."""

UNEVEN_S = 10.0
"""Between two looks the clocks may differ by so much, in seconds: a time service corrects small errors at one step."""

MOST_A_LOOK_S = 3600.0
"""Two looks count for at most so long, in seconds: between them the machine may have slept."""

FIRST = "it has not been watched before"


def seconds_since_boot() -> float:
    """Return the seconds since the machine's start, those in which it slept too (clock_gettime(2), CLOCK_BOOTTIME)."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class ClockRecord(Record):
    """state/clock.json: at `at` the clock had run evenly for `seen_s` seconds of service, since `why`."""

    at: str
    seen_s: float
    why: str = FIRST


class ClockWatch:
    """Looks at the wall clock now and then. `now` returns aware UTC datetimes, `since_boot` seconds."""

    def __init__(self, record: Path, now: Callable[[], datetime], since_boot: Callable[[], float]) -> None:
        self._record, self._now, self._since_boot = record, now, since_boot
        self._last: tuple[datetime, float] | None = None
        self._seen_s, self._why, self._kept_at = 0.0, FIRST, -KEEP_EVERY_S

    def look(self) -> None:
        """Compare the clocks where it is time to. Raise OSError where the record cannot be read or written."""
        now, since_boot = self._now(), self._since_boot()
        if self._last is None:
            self._go_on(now)
        elif since_boot - self._last[1] < LOOK_EVERY_S and abs(self._ahead_s(now, since_boot)) < UNEVEN_S:
            return
        else:
            self._compare(now, since_boot)
        self._last = now, since_boot
        if since_boot - self._kept_at >= KEEP_EVERY_S or self._seen_s == 0:
            self._keep(now)
            self._kept_at = since_boot

    def is_sane(self) -> bool:
        return self._seen_s >= SANE_AFTER_S

    def why_not(self) -> str:
        """Return why the clock is not trusted yet, and for how long it must still be watched."""
        hours = f"{self._seen_s // 3600:.0f} of {SANE_AFTER_S / 3600:.0f} hours"
        return f"the clock must first run evenly for a day of service ({hours} so far), since {self._why}"

    def _ahead_s(self, now: datetime, since_boot: float) -> float:
        """Return by how many seconds the wall clock gained since the last look."""
        if self._last is None:
            return 0.0
        return (now - self._last[0]).total_seconds() - (since_boot - self._last[1])

    def _go_on(self, now: datetime) -> None:
        """Go on from what an earlier service saw, where the clock has not gone back and the gap is not too long."""
        earlier = readable_record(self._record, ClockRecord)
        at = _time_in(earlier)
        if earlier is None or at is None:
            return
        gap_s = (now - at).total_seconds()
        if gap_s < -UNEVEN_S:
            self._start_again(f"it went back by {_in_words(-gap_s)}")
        elif gap_s > LONGEST_GAP_S:
            self._start_again(f"nobody watched it for {_in_words(gap_s)}")
        else:
            self._seen_s, self._why = max(0.0, earlier.seen_s), earlier.why

    def _compare(self, now: datetime, since_boot: float) -> None:
        assert self._last is not None
        ahead_s, passed_s = self._ahead_s(now, since_boot), since_boot - self._last[1]
        if ahead_s < -UNEVEN_S:
            self._start_again(f"it went back by {_in_words(-ahead_s)}")
        elif ahead_s > UNEVEN_S:
            self._start_again(f"it jumped ahead by {_in_words(ahead_s)}")
        elif passed_s > LONGEST_GAP_S:
            self._start_again(f"nobody watched it for {_in_words(passed_s)}")
        else:
            self._seen_s += min(passed_s, MOST_A_LOOK_S)

    def _start_again(self, why: str) -> None:
        logger.info("nothing is removed from archive and rejects until the clock has run evenly for a day: {}", why)
        self._seen_s, self._why = 0.0, why

    def _keep(self, now: datetime) -> None:
        record = ClockRecord(at=now.isoformat(timespec="seconds"), seen_s=self._seen_s, why=self._why)
        durable_files.write_atomic(self._record, record.model_dump_json().encode("utf-8"))


def _time_in(record: ClockRecord | None) -> datetime | None:
    try:
        at = datetime.fromisoformat(record.at) if record else None
    except ValueError:
        return None
    return at.astimezone(UTC) if at and at.tzinfo else None


def _in_words(seconds: float) -> str:
    """Return a span in days, hours, minutes or seconds, whichever is the largest that fits."""
    span = timedelta(seconds=round(seconds))
    for unit, name in ((86400, "days"), (3600, "hours"), (60, "minutes")):
        if span.total_seconds() >= 2 * unit:
            return f"{span.total_seconds() / unit:.0f} {name}"
    return f"{span.total_seconds():.0f} seconds"
