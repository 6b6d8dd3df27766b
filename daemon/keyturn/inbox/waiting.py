"""What waits in the inbox, which of it is whole, and whose turn it is."""

from __future__ import annotations

import heapq
import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from loguru import logger

from keyturn.inbox.moving import readable
from keyturn.inbox.settle import Settle, Snapshot
from keyturn.inbox.survey import snapshot
from keyturn.manifest import reading
from keyturn.manifest.models import FILE_NAME
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.file_names import may_be_drop
from keyturn.shop.folders import Shop
from keyturn.shop.records import Waiting
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import Settings

HOLD_S = 30.0
"""A drop that cannot be taken is tried again after so long; the others go on meanwhile."""

MOST_TOLD = 100
"""Of so many waiting drops the names are told; of the others the number."""

LOOKS_A_SETTLE = 16
"""How often a drop is looked at within the settle time: as much later than it could have been is it taken."""

SELDOM_S = 120.0
"""What has long lain still without being whole is walked no more seldom than this."""

CALM_S = 20.0
"""What has lain still for so long without being whole waits for the next scan, and the time between two walks
doubles: a thousand such drops, each looked at in its own moment, would keep the loop awake."""


@dataclass(frozen=True, slots=True)
class ReadyDrop:
    name: str
    snapshot: Snapshot
    rush: bool
    arrived: float


@dataclass(slots=True)
class _Drop:
    """What is known of one name in the inbox. `own` is its own identity when it was last walked: between two
    walks that alone is looked at. It changes as names in the folder itself come and go."""

    arrived: float
    since: str
    files: int = 0
    note: str = ""
    walk_at: float = -math.inf
    still_for: float = 0.0
    own: FileIdentity | None = None
    ready: ReadyDrop | None = None


class Inbox:
    """Scans are the truth. What did not change since the last one is not gone through again: a drop found whole is
    not walked until its turn, when claiming it compares, and one that lies still is walked more and more seldom."""

    def __init__(self, shop: Shop, settings: Settings, rules: Rulebook, now: Callable[[], datetime]) -> None:
        self._shop, self._now = shop, now
        self._folder = str(shop.inbox)
        self._drops: dict[str, _Drop] = {}
        self._held: dict[str, tuple[float, str]] = {}
        self._told: tuple[Waiting, ...] | None = None
        self.renew(settings, rules)

    def renew(self, settings: Settings, rules: Rulebook) -> None:
        self._rules = rules
        self._settle = Settle(settings.settle, rules.intake.names)
        self._look_s = min(1.0, max(0.05, settings.settle.seconds / LOOKS_A_SETTLE))
        self._listed: list[str] | None = None
        for drop in self._drops.values():
            drop.walk_at = -math.inf

    def scan(self, now: float) -> None:
        """Looks at every drop that is not yet known to be whole. Raises OSError where the inbox is not there."""
        with os.scandir(self._folder) as entries:
            listed = [entry.name for entry in entries]
        if listed != self._listed:
            self._sort_out(listed, now)
        for name in [n for n, (until, _) in self._held.items() if until <= now]:
            del self._held[name]
            self._told = None
        for name, drop in self._drops.items():
            if drop.ready is None and (drop.walk_at <= now or self._own(name) != drop.own):
                self._walk(name, drop, now)

    def _sort_out(self, listed: list[str], now: float) -> None:
        known = self._drops if self._listed is not None else {}
        names = [n for n in listed if n in known or may_be_drop(n, self._rules.intake.names)]
        stamp = self._now().isoformat(timespec="seconds")
        self._drops = {name: self._drops.get(name) or _Drop(now, stamp) for name in sorted(names)}
        self._held = {name: held for name, held in self._held.items() if name in self._drops}
        self._settle.keep_only(self._drops)
        self._listed, self._told = listed, None

    def _own(self, name: str) -> FileIdentity | None:
        try:
            return FileIdentity.of(os.lstat(f"{self._folder}/{name}"))
        except OSError:
            return None

    def _walk(self, name: str, drop: _Drop, now: float) -> None:
        before = drop.files, drop.note
        drop.own = self._own(name)
        try:
            due = self._look(name, drop, now)
        except PermissionError as error:  # its own, not the inbox's: the others go on
            drop.note = f"cannot be read ({error.strerror}): give the shop's group the right to read it"
            drop.still_for, due = CALM_S, math.inf
        longer = drop.still_for if drop.still_for >= CALM_S else drop.still_for / 4
        pause_s = min(SELDOM_S, max(self._look_s, longer))
        drop.walk_at = min(now + pause_s, max(due, now + self._look_s / 4))
        if drop.ready is not None or (drop.files, drop.note) != before:
            self._told = None

    def _look(self, name: str, drop: _Drop, now: float) -> float:
        """When the drop will be whole if nothing changes."""
        seen = snapshot(self._shop.inbox / name)
        look = self._settle.look(name, seen, now)
        drop.files = sum(not n.endswith("/") for n, *_ in seen)
        drop.note, drop.still_for = look.note, look.still_for
        if look.ready:
            drop.ready = ReadyDrop(name, self._settle.snapshot(name), self._is_rush(name), drop.arrived)
        return look.due

    def _is_rush(self, name: str) -> bool:
        folder = self._shop.inbox / name
        if not (folder / FILE_NAME).is_file():
            return False
        try:
            read, _ = reading.read_leniently(folder, max_kib=self._rules.intake.caps.manifest_kib)
        except Exception as error:  # one drop's manifest must not stop the others; the line will tell
            logger.warning("{}: could not look whether it is in a hurry: {}", name, error)
            return False
        return read is not None and read.rush

    def next(self) -> ReadyDrop | None:
        """Rush before the rest, then first come first served."""
        free = (drop.ready for name, drop in self._drops.items() if drop.ready and name not in self._held)
        return min(free, key=lambda d: (not d.rush, d.arrived, d.name), default=None)

    def next_walk(self) -> float:
        """When, on the scans' clock, a drop must be walked before the usual scan; infinite where none must."""
        walks = (drop.walk_at for drop in self._drops.values() if drop.ready is None and drop.still_for < CALM_S)
        return min(walks, default=math.inf)

    def hold(self, name: str, note: str, now: float) -> None:
        self._held[name] = (now + HOLD_S, note)
        self._told = None

    def forget(self, name: str) -> None:
        """After a claim, or a claim that found the drop changed: it is looked at anew if it is still there."""
        self._settle.forget(name)
        self._told = None
        if name in self._drops:
            self._drops[name].ready = None
            self._drops[name].walk_at = -math.inf

    def waiting(self) -> tuple[Waiting, ...]:
        """The first `MOST_TOLD` in the order of their turns; the same tuple until something changed."""
        if self._told is None:
            first = heapq.nsmallest(MOST_TOLD, self._drops.items(), key=_turn)
            self._told = tuple(self._waiting(name, drop) for name, drop in first)
        return self._told

    def _waiting(self, name: str, drop: _Drop) -> Waiting:
        note = self._held[name][1] if name in self._held else drop.note
        return Waiting(
            name=readable(name),
            files=drop.files,
            since=drop.since,
            rush=drop.ready is not None and drop.ready.rush,
            note=readable(note or "whole, waiting for its turn"),
        )

    def __len__(self) -> int:
        """How many drops wait, whole or not."""
        return len(self._drops)

    def is_empty(self) -> bool:
        return not self._drops


def _turn(item: tuple[str, _Drop]) -> tuple[bool, float, str]:
    name, drop = item
    return not (drop.ready and drop.ready.rush), drop.arrived, name
