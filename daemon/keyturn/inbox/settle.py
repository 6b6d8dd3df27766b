"""When is a drop whole? When nothing in it has changed for the settle time, longer where there is doubt."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from keyturn.inbox.survey import OURS, Seen
from keyturn.manifest.models import FILE_NAME
from keyturn.shop.file_names import is_junk, looks_half_copied
from keyturn.shop.rulebook import Names
from keyturn.shop.settings import SettleSettings

Snapshot = frozenset[Seen]

EMPTY = "empty"
"""A folder just made, or holding only litter: it is never taken."""


@dataclass(frozen=True, slots=True)
class Look:
    """What one look at a drop says: ready, or why not yet. `still_for` is in seconds; at `due`, on the clock of
    the looks, it is whole if nothing changes till then (never, where that is infinite)."""

    ready: bool
    still_for: float
    note: str = ""
    due: float = math.inf


@dataclass(frozen=True, slots=True)
class _Still:
    """How a drop has looked since `since`, what speaks against its being whole, and for how many seconds."""

    there: Snapshot
    since: float
    doubt: str
    patience: float


class Settle:
    """Remembers how each waiting drop looked and since when. Times are any monotonic seconds."""

    def __init__(self, settings: SettleSettings, names: Names) -> None:
        self._settings = settings
        self._names = names
        self._seen: dict[str, _Still] = {}

    def look(self, name: str, now_there: Snapshot, now: float) -> Look:
        before = self._seen.get(name)
        if before is None or before.there != now_there or now < before.since:  # a clock set back starts anew
            still = self._seen[name] = self._still(now_there, now)
            return Look(False, 0.0, still.doubt or "arriving", now + still.patience)
        still_for = now - before.since
        if still_for >= before.patience:
            return Look(True, still_for, due=now)
        calm = "settling" if _has_manifest(now_there) else f"no {FILE_NAME} yet"
        return Look(False, still_for, before.doubt or calm, before.since + before.patience)

    def snapshot(self, name: str) -> Snapshot:
        return self._seen[name].there

    def keep_only(self, names: Iterable[str]) -> None:
        """Forgets drops that are no longer there."""
        kept = set(names)
        self._seen = {name: seen for name, seen in self._seen.items() if name in kept}

    def forget(self, name: str) -> None:
        """One drop settles from the beginning."""
        self._seen.pop(name, None)

    def _still(self, there: Snapshot, now: float) -> _Still:
        doubt = self._waits_for(there)
        return _Still(there, now, doubt, math.inf if doubt == EMPTY else self._patience(there, bool(doubt)))

    def _patience(self, there: Snapshot, half_copied: bool) -> float:
        if half_copied:
            return max(self._settings.seconds, self._settings.half_copied_seconds)
        if _has_manifest(there):
            return self._settings.seconds
        return max(self._settings.seconds, self._settings.without_manifest_seconds)

    def _waits_for(self, there: Snapshot) -> str:
        files = [name for name, *_ in there if not name.endswith("/")]
        if not any(not is_junk(name.rsplit("/", 1)[-1], self._names) for name in files):
            return EMPTY
        half = sorted(n for n in files if looks_half_copied(n.rsplit("/", 1)[-1], self._names))
        return f"{half[0]} looks half-copied" if half else ""


def _has_manifest(there: Snapshot) -> bool:
    """A zip carries its manifest inside; a folder has it beside its art or one folder down."""
    names = [name for name, *_ in there]
    if names == [""] or any(name.rsplit("/", 1)[-1] == FILE_NAME and name.count("/") < 2 for name in names):
        return True
    files = [name for name in names if not name.endswith("/") and name not in OURS]
    return len(files) == 1 and files[0].lower().endswith(".zip") and files[0] != "bootanimation.zip"
