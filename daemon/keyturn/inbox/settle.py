"""Decide when a drop is whole: when nothing in it has changed for the settle time.

The settle time is longer where the manifest is missing or a name looks half-copied. It is shorter where the drop is
known to be closed: `early_at` says when it is over then.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from keyturn.inbox.survey import OURS, Snapshot
from keyturn.inbox.tar_files import ARCHIVE_ENDINGS
from keyturn.manifest import manifest_file
from keyturn.manifest.models import FILE_NAME
from keyturn.shop.file_names import is_junk, looks_half_copied
from keyturn.shop.name_rules import Names
from keyturn.shop.settings import SettleSettings

EMPTY = "empty"
"""The note on a drop without files, or with nothing but junk. Such a drop is never taken."""


PAUSES = 2.0
"""A drop that is known to be closed still waits so many times the longest pause that was seen while it arrived."""


@dataclass(frozen=True, slots=True)
class SettleState:
    """Is a drop whole, and if not, why not?

    `unchanged_s`: seconds without a change. `ready_at`: when the drop is whole if nothing changes until then, on the
    clock of `look`; infinite for a drop that is empty. `early_at`: when it is whole if, besides, nobody has a file of
    it open for writing; infinite where a name in it is in doubt.
    """

    ready: bool
    unchanged_s: float
    note: str = ""
    ready_at: float = math.inf
    early_at: float = math.inf


@dataclass(frozen=True, slots=True)
class _LastSeen:
    """The snapshot of a drop unchanged since `since`, why it may not be whole, and its settle times in seconds.

    `longest_pause_s`: the longest time without a change before that.
    """

    snapshot: Snapshot
    since: float
    doubt: str
    settle_s: float
    early_s: float
    longest_pause_s: float


class Settle:
    """Remembers the last snapshot of each waiting drop. Times are seconds of any monotonic clock."""

    def __init__(self, settings: SettleSettings, names: Names) -> None:
        self._settings = settings
        self._names = names
        self._last_seen: dict[str, _LastSeen] = {}

    def look(self, name: str, snapshot: Snapshot, now: float) -> SettleState:
        """Compare `snapshot` with the last one of the drop `name`. A clock set back starts the settle time again."""
        last = self._last_seen.get(name)
        if last is None or last.snapshot != snapshot or now < last.since:
            last = self._last_seen[name] = self._first_seen(snapshot, now, last)
            return SettleState(False, 0.0, last.doubt or "arriving", now + last.settle_s, now + last.early_s)
        unchanged_s = now - last.since
        if unchanged_s >= last.settle_s:
            return SettleState(True, unchanged_s, ready_at=now)
        note = last.doubt or ("settling" if _has_manifest(snapshot) else f"no {FILE_NAME} yet")
        return SettleState(False, unchanged_s, note, last.since + last.settle_s, last.since + last.early_s)

    def snapshot(self, name: str) -> Snapshot:
        return self._last_seen[name].snapshot

    def keep_only(self, names: Iterable[str]) -> None:
        """Forget all other drops."""
        kept = set(names)
        self._last_seen = {name: last for name, last in self._last_seen.items() if name in kept}

    def forget(self, name: str) -> None:
        """Start the settle time of one drop again at its next look."""
        self._last_seen.pop(name, None)

    def _first_seen(self, snapshot: Snapshot, now: float, last: _LastSeen | None) -> _LastSeen:
        pause_s = max(last.longest_pause_s, now - last.since) if last else 0.0
        doubt = self._doubt(snapshot)
        if doubt == EMPTY or (not doubt and self._lacks_done(snapshot)):
            return _LastSeen(snapshot, now, doubt or f"waiting for {self._settings.done}", math.inf, math.inf, pause_s)
        settle_s = self._settle_s(snapshot, half_copied=bool(doubt))
        early_s = math.inf
        if not doubt and _has_manifest(snapshot):
            early_s = min(settle_s, max(self._settings.closed_seconds, PAUSES * pause_s))
        return _LastSeen(snapshot, now, doubt, settle_s, early_s, pause_s)

    def _lacks_done(self, snapshot: Snapshot) -> bool:
        """Does the drop lack the file that says that all is there? A single file is whole or not by itself."""
        names = [name for name, _ in snapshot]
        return (
            bool(self._settings.done) and names != [""] and not any(_is_near_top(n, self._settings.done) for n in names)
        )

    def _settle_s(self, snapshot: Snapshot, *, half_copied: bool) -> float:
        if half_copied:
            return max(self._settings.seconds, self._settings.half_copied_seconds)
        if _has_manifest(snapshot):
            return self._settings.seconds
        return max(self._settings.seconds, self._settings.without_manifest_seconds)

    def _doubt(self, snapshot: Snapshot) -> str:
        """Return why the drop may not be whole; empty where nothing says so."""
        files = [name for name, _ in snapshot if not name.endswith("/")]
        if all(is_junk(name.rsplit("/", 1)[-1], self._names) for name in files):
            return EMPTY
        half_copied = sorted(name for name in files if looks_half_copied(name.rsplit("/", 1)[-1], self._names))
        return f"{half_copied[0]} looks half-copied" if half_copied else ""


def _has_manifest(snapshot: Snapshot) -> bool:
    """Is the manifest in the drop or one folder down, or is the drop a single archive, which has it inside?"""
    names = [name for name, _ in snapshot]
    if names == [""] or any(map(_is_manifest_near_top, names)):
        return True
    files = [name for name in names if not name.endswith("/") and name not in OURS]
    return len(files) == 1 and files[0].lower().endswith(ARCHIVE_ENDINGS) and files[0] != "bootanimation.zip"


def _is_manifest_near_top(path: str) -> bool:
    return path.count("/") < 2 and manifest_file.is_manifest_name(path.rsplit("/", 1)[-1])


def _is_near_top(path: str, name: str) -> bool:
    """Is the path in a drop that of a file called `name`, in the drop itself or one folder down?"""
    return path.rsplit("/", 1)[-1] == name and path.count("/") < 2
