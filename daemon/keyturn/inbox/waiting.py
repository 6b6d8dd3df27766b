"""List the drops that wait in the inbox, find out which of them are whole, and say which is next."""

from __future__ import annotations

import errno
import heapq
import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from loguru import logger

from keyturn.inbox.arrival import OPEN_PAUSE_S, Arrival
from keyturn.inbox.doubts import Doubts
from keyturn.inbox.moving import readable
from keyturn.inbox.settle import Settle
from keyturn.inbox.survey import Snapshot, is_small, snapshot
from keyturn.inbox.unclosed import Unclosed
from keyturn.manifest import manifest_file, reading
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.file_names import may_be_drop
from keyturn.shop.folders import Shop
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import Settings
from keyturn.shop.state_records import Waiting

HOLD_S = 30.0
"""Seconds until a drop that could not be claimed is tried again. The other drops go on."""

MOST_LISTED = 100
"""Most waiting drops that are listed by name. The others are only counted."""

WALKS_PER_SETTLE = 16
"""Walks of a new drop within the settle time. A drop is taken at most 1/16 of the settle time late."""

LONGEST_PAUSE_S = 120.0
"""Longest pause between two walks of an incomplete drop, in seconds."""

LONG_UNCHANGED_S = 20.0
"""An incomplete drop that has not changed for this many seconds is only walked in a usual scan, and each pause between
two walks is as long as the time without a change. A thousand such drops would otherwise keep the loop busy."""


OWN_PREFIX = ".keyturn-"
"""Begins the names of drops that are being moved between two mounts."""

RETURNED_S = 600.0
"""So long after a drop was taken, in seconds, one of its name may be the same, sent back: that is a rename as well."""


@dataclass(frozen=True, slots=True)
class ReadyDrop:
    """A whole drop. `arrived` is when it was first seen, on the clock of the scans."""

    name: str
    snapshot: Snapshot
    rush: bool
    arrived: float


@dataclass(slots=True)
class _Drop:
    """What is known of one drop. `walk_at` is when its next walk is due; times are on the clock of the scans.

    `identity` is that of the drop's own folder or zip at the last walk, and is all that is checked between two walks.
    A folder's time changes when a name in it comes or goes (POSIX).
    """

    arrived: float
    since: str
    arrival: Arrival
    files: int = 0
    note: str = ""
    walk_at: float = -math.inf
    unchanged_s: float = 0.0
    identity: FileIdentity | None = None
    ready: ReadyDrop | None = None


class Inbox:
    """The drops in the inbox, as the last scan found them.

    A whole drop is not walked again: claiming it compares snapshots. An incomplete drop is walked less and less often
    while it does not change. `doubts` holds those that were sent back in case they were still being copied.
    """

    def __init__(self, shop: Shop, settings: Settings, rules: Rulebook, now: Callable[[], datetime]) -> None:
        self._shop, self._now = shop, now
        self._folder = str(shop.inbox)
        self._drops: dict[str, _Drop] = {}
        self._held: dict[str, tuple[float, str]] = {}
        self._taken: dict[str, float] = {}
        self.doubts = Doubts(())
        self._unclosed = Unclosed()
        self._scanned_at = -math.inf
        self._left_over = False
        self._waiting: tuple[Waiting, ...] | None = None
        self.renew(settings, rules)

    def renew(self, settings: Settings, rules: Rulebook) -> None:
        """Apply new settings and rules, also to the drops that are waiting."""
        self._rules = rules
        self._settle = Settle(settings.settle, rules.intake.names)
        self.doubts.waits = settings.settle.doubt_seconds
        self._shortest_pause_s = min(1.0, max(0.05, settings.settle.seconds / WALKS_PER_SETTLE))
        self._listed: list[str] | None = None
        for drop in self._drops.values():
            drop.walk_at = -math.inf

    def scan(self, now: float) -> None:
        """Update the list of drops, and walk each incomplete one that is due or changed at its top.

        `now` is in seconds of any monotonic clock. Raise OSError where the inbox cannot be read.
        """
        with os.scandir(self._folder) as entries:
            listed = [entry.name for entry in entries]
        self._scanned_at = now
        if listed != self._listed:
            self._update_names(listed, now)
        for name in [name for name, (until, _) in self._held.items() if until <= now]:
            del self._held[name]
            self._waiting = None
        for name, drop in self._drops.items():
            if drop.ready is None and (drop.walk_at <= now or self._identity(name) != drop.identity):
                self._walk(name, drop, now)

    def _update_names(self, listed: list[str], now: float) -> None:
        known = self._drops if self._listed is not None else {}
        names = [name for name in listed if name in known or may_be_drop(name, self._rules.intake.names)]
        since = self._now().isoformat(timespec="seconds")
        self._taken = {name: at for name, at in self._taken.items() if now < at + RETURNED_S}
        self._drops = {name: self._drops.get(name) or self._new(name, now, since) for name in sorted(names)}
        self._held = {name: held for name, held in self._held.items() if name in self._drops}
        self._settle.keep_only(self._drops)
        for name in set(self._unclosed.names()) - self._drops.keys():
            self._unclosed.forget(name)
        self._left_over = any(name.startswith(OWN_PREFIX) for name in listed)
        self._listed, self._waiting = listed, None

    def found_left_over(self) -> bool:
        """Tell, once after the names have changed, whether something half moved lies in the inbox.

        It is what a share brings back that went away during a move.
        """
        found, self._left_over = self._left_over, False
        return found

    def _new(self, name: str, now: float, since: str) -> _Drop:
        return _Drop(now, since, Arrival(may_come_whole=self._listed is not None and name not in self._taken))

    def _identity(self, name: str) -> FileIdentity | None:
        try:
            return FileIdentity.of(os.lstat(f"{self._folder}/{name}"))
        except OSError:
            return None

    def _walk(self, name: str, drop: _Drop, now: float) -> None:
        before = drop.files, drop.note
        drop.identity = self._identity(name)
        if drop.arrival.is_written(self._shop.inbox / name):
            drop.walk_at = now + OPEN_PAUSE_S
            return
        try:
            ready_at = self._look(name, drop, now)
        except PermissionError as error:  # of this drop alone: the scan of the inbox itself went well
            drop.note = f"cannot be read ({error.strerror}): give the shop's group the right to read it"
            drop.unchanged_s, ready_at = LONG_UNCHANGED_S, math.inf
        except OSError as error:
            long = error.errno == errno.ENAMETOOLONG
            what = "a path in it is longer than 4,096 bytes: use fewer and shorter folder names" if long else str(error)
            drop.note = f"set aside, cannot be read: {what}"
            drop.unchanged_s, ready_at = LONG_UNCHANGED_S, math.inf
        drop.walk_at = min(now + self._pause_s(drop), max(ready_at, now + self._shortest_pause_s / 4))
        if drop.ready is not None or (drop.files, drop.note) != before:
            self._waiting = None

    def _pause_s(self, drop: _Drop) -> float:
        pause_s = drop.unchanged_s if drop.unchanged_s >= LONG_UNCHANGED_S else drop.unchanged_s / 4
        return min(LONGEST_PAUSE_S, max(self._shortest_pause_s, pause_s))

    def _look(self, name: str, drop: _Drop, now: float) -> float:
        """Walk the drop and update what is known of it. Return when it will be whole if nothing changes."""
        path = self._shop.inbox / name
        seen = snapshot(path)
        state = self.doubts.judge(name, seen, self._settle.look(name, seen, now), now)
        drop.arrival.look_whether_unseen(path, seen)
        if drop.arrival.unseen:
            self._unclosed.watch(name, path, seen)
        state = drop.arrival.judge(path, seen, state, now, self._rules.intake.caps, self._unclosed.first(name))
        drop.files = sum(not path.endswith("/") for path, _ in seen)
        drop.note, drop.unchanged_s = state.note, 0.0 if drop.arrival.open_file is not None else state.unchanged_s
        if state.ready:
            self._unclosed.forget(name)
            drop.ready = ReadyDrop(name, self._settle.snapshot(name), self._is_rush(name), drop.arrived)
        return state.ready_at

    def _is_rush(self, name: str) -> bool:
        folder = self._shop.inbox / name
        if not manifest_file.in_folder(folder):
            return False
        try:
            manifest, _ = reading.read_leniently(folder, max_kib=self._rules.intake.caps.manifest_kib)
        except Exception as error:  # one drop must not stop the scan; the pipeline reports what is wrong with it
            logger.warning("{}: cannot read whether it is a rush job: {}", name, error)
            return False
        return manifest is not None and manifest.rush

    def next(self, *, small: bool = False, rush: bool = False) -> ReadyDrop | None:
        """Return the drop whose turn it is: rush first, then in order of arrival. None where none is ready.

        With `small` only the small ones have a turn, with `rush` only those in a rush.
        """
        free = (drop.ready for name, drop in self._drops.items() if drop.ready and name not in self._held)
        if rush:
            free = (ready for ready in free if ready.rush)
        if small:
            free = (ready for ready in free if is_small(ready.snapshot))
        return min(free, key=lambda ready: (not ready.rush, ready.arrived, ready.name), default=None)

    def next_walk(self) -> float:
        """Return when a drop must be walked before the next usual scan; infinite where none must."""
        changing = (drop for drop in self._drops.values() if drop.ready is None)
        walks = (drop.walk_at for drop in changing if drop.unchanged_s < LONG_UNCHANGED_S)
        return min(walks, default=math.inf)

    def hold(self, name: str, note: str, now: float) -> None:
        """Pass over the drop for `HOLD_S`; `note` says why."""
        self._held[name] = (now + HOLD_S, note)
        self._waiting = None

    def forget(self, name: str) -> None:
        """Start the drop's settle time again: after a claim, also one that found the drop changed."""
        self._settle.forget(name)
        self._taken[name] = self._scanned_at
        self._waiting = None
        if name in self._drops:
            drop = self._drops[name]
            drop.ready, drop.walk_at, drop.arrival.may_come_whole = None, -math.inf, False

    def waiting(self) -> tuple[Waiting, ...]:
        """Return the first `MOST_LISTED` drops in order of their turns: the same tuple until something changes."""
        if self._waiting is None:
            first = heapq.nsmallest(MOST_LISTED, self._drops.items(), key=_turn)
            self._waiting = tuple(self._record(name, drop) for name, drop in first)
        return self._waiting

    def _record(self, name: str, drop: _Drop) -> Waiting:
        note = self._held[name][1] if name in self._held else drop.note
        return Waiting(
            name=readable(name),
            files=drop.files,
            since=drop.since,
            rush=drop.ready is not None and drop.ready.rush,
            note=readable(note or "whole, waiting for its turn"),
        )

    def __len__(self) -> int:
        """Return the number of drops, whole or not."""
        return len(self._drops)

    def is_empty(self) -> bool:
        return not self._drops


def _turn(item: tuple[str, _Drop]) -> tuple[bool, float, str]:
    name, drop = item
    return not (drop.ready and drop.ready.rush), drop.arrived, name
