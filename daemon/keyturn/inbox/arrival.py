"""Decide when a still drop is taken: not while a file of it is open for writing, and sooner where none is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from keyturn.inbox.at_once import came_whole, is_complete_zip
from keyturn.inbox.open_files import Writers, open_in, writers_of
from keyturn.inbox.settle import SettleState
from keyturn.inbox.survey import Snapshot
from keyturn.shop.rulebook import Caps

AT_ONCE_S = 0.5
"""A drop that came in one piece, and is known to be closed, lies still for so many seconds."""

OPEN_PAUSE_S = 1.0
"""Seconds between two looks at whether a file that was open for writing still is."""


UNCLOSED_S = 3600.0
"""Events alone hold a drop back for so many seconds without a change: truncate(2) writes to a file and closes none."""


@dataclass(slots=True)
class Arrival:
    """What is known of how one drop arrives.

    `may_come_whole`: it is new, neither there from the start nor sent back, so it may have come by one rename.
    `open_file`: the file that was open for writing at the last look. `unseen`: the system does not tell who writes.
    """

    may_come_whole: bool
    open_file: str | None = None
    unseen: bool = False

    def is_written(self, drop: Path) -> bool:
        """Tell whether the file that was open at the last look still is: nothing else need be looked at then."""
        if self.open_file is None:
            return False
        return writers_of(drop / self.open_file if self.open_file else drop) is Writers.SOME

    def look_whether_unseen(self, drop: Path, seen: Snapshot) -> None:
        """Find out by one file whether the system tells who writes, before the drop is judged."""
        if not self.unseen and (files := sorted(name for name, _ in seen if not name.endswith("/"))):
            self.unseen = writers_of(drop / files[0] if files[0] else drop) is Writers.UNSEEN

    def judge(
        self, drop: Path, seen: Snapshot, state: SettleState, now: float, caps: Caps, unclosed: str | None = None
    ) -> SettleState:
        """Return `state` with regard to open files: whole sooner where none is, and not whole where one is.

        `unclosed`: a file that was written to and not closed since, as far as events tell.
        """
        early_at = self._early_at(drop, seen, state, now)
        if not state.ready and now < early_at:
            return replace(state, ready_at=min(early_at, state.ready_at))
        writers, name = open_in(drop, seen)
        self.open_file = name if writers is Writers.SOME else None
        if writers is Writers.SOME:
            note = f"{name or drop.name} is still being written"
            return replace(state, ready=False, note=note, ready_at=now + OPEN_PAUSE_S)
        self.unseen = writers is Writers.UNSEEN
        if self.unseen and unclosed is not None and state.unchanged_s < UNCLOSED_S:
            return replace(state, ready=False, note=f"{unclosed} is still being written", ready_at=now + OPEN_PAUSE_S)
        if self.unseen or state.ready:
            return state
        if _is_zip(drop, seen) and not is_complete_zip(drop, caps):
            self.may_come_whole = False
            return state
        return replace(state, ready=True)

    def _early_at(self, drop: Path, seen: Snapshot, state: SettleState, now: float) -> float:
        """Return when the drop is whole if it is closed; the usual time where that cannot be seen."""
        if self.unseen or state.early_at >= state.ready_at:
            return state.ready_at
        if self.may_come_whole and (_is_zip(drop, seen) or came_whole(drop)):
            return min(state.early_at, now - state.unchanged_s + AT_ONCE_S)
        return state.early_at


def _is_zip(drop: Path, seen: Snapshot) -> bool:
    """Is the drop a single zip?"""
    return [name for name, _ in seen] == [""] and drop.suffix.lower() == ".zip"
