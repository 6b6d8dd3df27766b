"""Faults that a copy in progress would give. A drop that has no others lies in the inbox again before it is refused."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from keyturn.inbox.moving import same_snapshot
from keyturn.inbox.settle import SettleState
from keyturn.inbox.survey import Snapshot
from keyturn.manifest.models import FILE_NAME
from keyturn.shop import durable_files
from keyturn.shop.reasons import Kind, Reason

FRESH_S = 30.0
"""A file that is missing may still come where the newest file of the drop is younger, in seconds."""

MOST_REMEMBERED = 1000
WORDS = {
    "picture-empty": "is empty",
    "picture-broken": "looks cut short",
    "zip-broken": "looks cut short",
    "tar-broken": "looks cut short",
    "font-broken": "looks cut short",
    "font-kind": "is empty so far",
    "picture-unknown": "is empty so far",
    "manifest-key-missing": "is empty so far",
    "manifest-unreadable": "is empty so far",
}
"""What each fault of a file looks like while the file is being copied, by the reason's code."""

MISSING = frozenset(
    {"frames-gap", "part-empty", "no-art", "no-pictures", "logo-missing", "stock-missing", "font-missing"}
)
"""The codes of files that are not there."""

_HOLLOW = frozenset({"picture-unknown", "font-kind", "manifest-key-missing", "manifest-unreadable"})
"""Codes that a copy gives only while the file is empty, or has its size already and holds nothing but zeros."""


def still_arriving(
    reasons: Sequence[Reason], drop: Path, root: Path | None, now: Callable[[], float] = time.time
) -> str:
    """Return what makes the drop look as if it were still being copied; "" where something else is wrong with it.

    `root`: the artist's folder in `drop`, or where an archive was unpacked to: what lies in one that could be unpacked
    is not being copied. None where there is none. `now` returns the time as time.time() does.
    """
    refused = [reason for reason in reasons if reason.kind is Kind.REFUSE]
    counted = refused or [reason for reason in reasons if reason.code == "frames-gap"][:1]
    looks = [_looks(reason, drop, root, now) for reason in counted]
    return looks[0] if looks and all(looks) else ""


def _looks(reason: Reason, drop: Path, root: Path | None, now: Callable[[], float]) -> str:
    if reason.code in ("zip-broken", "tar-broken"):
        return f"{reason.file} {WORDS[reason.code]}"
    if root is None or not root.is_relative_to(drop):
        return ""
    if reason.code in MISSING:
        return f"{reason.file or FILE_NAME}: {reason.what}" if _is_fresh(root, now()) else ""
    words = WORDS.get(reason.code, "")
    if not words or not reason.file or (reason.code in _HOLLOW and not _is_hollow(root / reason.file)):
        return ""
    return f"{reason.file} {words}"


def _is_fresh(root: Path, now: float) -> bool:
    """Is any file so new that others may follow? A time to come counts as new: the clock may have been set."""
    paths = (f"{folder}/{name}" for folder, _, names in os.walk(root) for name in names)
    return any(now - os.lstat(path).st_ctime < FRESH_S for path in paths)


def _is_hollow(path: Path) -> bool:
    try:
        start = durable_files.read_start(path, 64)
    except OSError:
        return False
    return start is not None and not start.strip(b"\0 \r\n")


@dataclass(frozen=True, slots=True)
class _Doubt:
    """A drop that was sent back as `seen`, for the `times`-th time in a row, and is left alone for `wait_s`."""

    seen: Snapshot
    times: int
    wait_s: float
    note: str


class Doubts:
    """The drops that were sent back because they may have been in the middle of a copy.

    `waits` are how long each is left alone, in seconds, before it is tried once more; one that is the same after all
    of them is refused. This is remembered in memory: after a start the waits begin anew.
    """

    def __init__(self, waits: Sequence[float]) -> None:
        self.waits = tuple(waits)
        self._of: dict[str, _Doubt] = {}

    def is_to_wait(self, name: str, seen: Snapshot) -> bool:
        """Return whether the drop, as it is now, has not yet been left alone as often as it may be."""
        return self._times(name, seen) < len(self.waits)

    def sent_back(self, name: str, new_name: str, seen: Snapshot, looks: str) -> None:
        """Note that the drop called `name` was sent back to the inbox as `new_name`, and why."""
        times = self._times(name, seen)
        self._of.pop(name, None)
        note = f"{looks}; waiting in case it is still being copied"
        self._of[new_name] = _Doubt(seen, times + 1, self.waits[times], note)
        while len(self._of) > MOST_REMEMBERED:
            self._of.pop(next(iter(self._of)))

    def forget(self, name: str) -> None:
        self._of.pop(name, None)

    def _times(self, name: str, seen: Snapshot) -> int:
        doubt = self._of.get(name)
        return doubt.times if doubt and same_snapshot(doubt.seen, seen, inodes=False) else 0

    def judge(self, name: str, seen: Snapshot, state: SettleState, now: float) -> SettleState:
        """Return `state`, or "not yet" where the drop is as it was sent back and its wait is not over."""
        doubt = self._of.get(name)
        if doubt is None or state.unchanged_s >= doubt.wait_s or not self._times(name, seen):
            return state
        end = now - state.unchanged_s + doubt.wait_s
        return replace(state, ready=False, note=doubt.note, ready_at=end, early_at=end)
