"""What waits in the inbox, which of it is whole, and whose turn it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from loguru import logger

from keyturn import manifest
from keyturn.intake.names import may_be_drop
from keyturn.intake.survey import snapshot
from keyturn.records import Waiting
from keyturn.rulebook import Rulebook
from keyturn.settings import Settings
from keyturn.settle import Settle, Snapshot
from keyturn.shop import Shop

HOLD_S = 30.0
"""A drop that cannot be taken is tried again after so long; the others go on meanwhile."""


@dataclass(frozen=True, slots=True)
class ReadyDrop:
    name: str
    snapshot: Snapshot
    rush: bool
    arrived: float


class Inbox:
    """Scans are the truth. A drop found whole is not walked again until its turn: claiming it compares."""

    def __init__(self, shop: Shop, settings: Settings, rules: Rulebook, now: Callable[[], datetime]) -> None:
        self._shop, self._now = shop, now
        self.renew(settings, rules)
        self._ready: dict[str, ReadyDrop] = {}
        self._arrived: dict[str, tuple[float, str]] = {}
        self._notes: dict[str, str] = {}
        self._files: dict[str, int] = {}
        self._held: dict[str, tuple[float, str]] = {}

    def renew(self, settings: Settings, rules: Rulebook) -> None:
        self._rules = rules
        self._settle = Settle(settings.settle, rules.intake.names)

    def scan(self, now: float) -> None:
        """Looks at every drop that is not yet known to be whole. Raises OSError where the inbox is not there."""
        names = sorted(p.name for p in self._shop.inbox.iterdir() if may_be_drop(p.name, self._rules.intake.names))
        self._keep_only(names)
        self._held = {n: held for n, held in self._held.items() if held[0] > now}
        for name in names:
            self._arrived.setdefault(name, (now, self._now().isoformat(timespec="seconds")))
            if name not in self._ready:
                try:
                    self._look(name, now)
                except PermissionError as error:  # its own, not the inbox's: the others go on
                    self._notes[name] = f"cannot be read ({error.strerror}): give the shop's group the right to read it"

    def _look(self, name: str, now: float) -> None:
        seen = snapshot(self._shop.inbox / name)
        look = self._settle.look(name, seen, now)
        self._files[name] = sum(not n.endswith("/") for n, *_ in seen)
        self._notes[name] = look.note
        if look.ready:
            rush = self._is_rush(name)
            self._ready[name] = ReadyDrop(name, seen, rush, self._arrived[name][0])

    def _is_rush(self, name: str) -> bool:
        folder = self._shop.inbox / name
        if not (folder / manifest.FILE_NAME).is_file():
            return False
        try:
            read, _ = manifest.read_leniently(folder, max_kib=self._rules.intake.caps.manifest_kib)
        except Exception as error:  # one drop's manifest must not stop the others; the line will tell
            logger.warning("{}: could not look whether it is in a hurry: {}", name, error)
            return False
        return read is not None and read.rush

    def next(self) -> ReadyDrop | None:
        """Rush before the rest, then first come first served."""
        free = (drop for drop in self._ready.values() if drop.name not in self._held)
        return min(free, key=lambda d: (not d.rush, d.arrived, d.name), default=None)

    def hold(self, name: str, note: str, now: float) -> None:
        self._held[name] = (now + HOLD_S, note)

    def forget(self, name: str) -> None:
        """After a claim, or a claim that found the drop changed: it is looked at anew if it is still there."""
        self._ready.pop(name, None)
        self._settle.keep_only(set(self._arrived) - {name})

    def _keep_only(self, names: list[str]) -> None:
        kept = set(names)
        self._settle.keep_only(kept)
        for memory in (self._ready, self._arrived, self._notes, self._files, self._held):
            for name in [n for n in memory if n not in kept]:
                del memory[name]

    def waiting(self) -> tuple[Waiting, ...]:
        drops = [self._waiting(name) for name in self._arrived]
        return tuple(sorted(drops, key=lambda w: (not w.rush, w.since, w.name)))

    def _waiting(self, name: str) -> Waiting:
        ready = self._ready.get(name)
        note = self._held[name][1] if name in self._held else self._notes.get(name, "")
        return Waiting(
            name=name,
            files=self._files.get(name, 0),
            since=self._arrived[name][1],
            rush=ready is not None and ready.rush,
            note=note or "whole, waiting for its turn",
        )

    def is_empty(self) -> bool:
        return not self._arrived
