"""Tries one point of the campaign after another, in a process of its own with a desk of its own.

A state of the shop's folders (names, kinds, rights, bytes) that was seen before is not recovered from again: the run
that follows a fault depends on nothing else, for its clock and its random names are given. What cheapens a point is
tried the dear way as well at each `SURE_EVERY`-th point.
"""

from __future__ import annotations

import ctypes
import hashlib
import json
import os
import signal
import time
import zlib
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from multiprocessing.util import Finalize
from pathlib import Path
from typing import Any

from faults import hampering, points, promises, scenarios, snapshots, zygote
from faults.forks import ALL, Forks, Places
from faults.hampering import Step, Trail
from faults.points import BURST, Place, Point
from faults.promises import Asked, Laid
from faults.results import Result
from faults.running import Ended
from faults.scenarios import SCENARIOS
from faults.snapshots import Snapshot
from faults.watched import Answer
from faults.zygote import CRASHED, NEVER_QUIET, NOT_OPENED, QUIET, Clock
from keyturn.outbox.ledger import Ledger
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop

SURE_EVERY = 40
LASTS_S = 180.0
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was asked of one state of the folders, and of the run that followed."""

    asked: int
    broken: list[str]


class Verdicts:
    """Known verdicts, in a folder that all desks share."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._known = folder, dict[str, Verdict]()

    def get(self, key: str) -> Verdict | None:
        if key not in self._known:
            try:
                self._known[key] = Verdict(**json.loads((self._folder / key).read_bytes()))
            except FileNotFoundError:
                return None
        return self._known[key]

    def add(self, key: str, verdict: Verdict) -> Verdict:
        half = self._folder / f".{os.getpid()}"
        half.write_text(json.dumps(asdict(verdict)))
        half.rename(self._folder / key)
        self._known[key] = verdict
        return verdict


@dataclass
class Laying:
    """A scenario as it is laid on the desk. `trails` are the runs that were followed call by call, with `lines` also
    which lines of the code the calls came from: that takes twice as long."""

    name: str
    start: Snapshot
    drops: list[Laid]
    lines: bool = False
    trails: dict[str, list[Step]] = field(default_factory=dict)


class Desk:
    """`base` is a folder that all desks share, `now` when the first run begins."""

    def __init__(self, base: Path, now: datetime) -> None:
        self._own = _own_place(base)
        self._shop, self._now = Shop(self._own / "shop"), now
        self._root = self._shop.root
        self._forks = Forks(self._own)
        (base / "verdicts").mkdir(exist_ok=True)
        self._verdicts = Verdicts(base / "verdicts")
        self._mounts = ExitStack()
        self._laying: Laying | None = None

    # -- the scenario -------------------------------------------------------------------------------

    def close(self) -> None:
        self._mounts.close()

    def _use(self, name: str) -> Laying:
        """Lays the scenario where another one lies. Raises OSError where mounting is not allowed."""
        if self._laying is None or self._laying.name != name:
            self._mounts.close()
            self._laying = None
            shop, drops = self._mounts.enter_context(scenarios.laid(self._root, SCENARIOS[name]))
            self._laying = Laying(name, snapshots.take(shop.root), drops)
        return self._laying

    def _order(self, turn: int) -> dict[str, Any]:
        """Of the first run, the one after it, and so on: each with an hour and random names of its own."""
        assert self._laying
        now = self._now + timedelta(hours=turn)
        return {"now": now.isoformat(), "seed": turn, **SCENARIOS[self._laying.name].order}

    # -- which points -------------------------------------------------------------------------------

    def points(self, scenario: str, kind: str, every: int, firsts: int | None, lines: bool) -> list[Point]:
        laying = self._use(scenario)
        if laying.lines < lines:
            laying.lines, laying.trails = lines, {}
        return list(points.of(scenario, kind, every, self.first(), self.recovery, firsts=firsts))

    def first(self) -> list[Step]:
        """The calls of a run without faults."""
        assert self._laying
        return self._trail("", self._laying.start, 0)

    def recovery(self, killed_at: Place) -> list[Step]:
        """The calls of the run that follows a kill."""
        return self._trail(str(killed_at), self._before(self.first(), killed_at), 1)

    def _trail(self, name: str, start: Snapshot, turn: int) -> list[Step]:
        assert self._laying
        trails = self._laying.trails
        if name not in trails:
            for old in [key for key in trails if key]:  # one recovery after the other: they are large
                del trails[old]
            snapshots.lay(start, self._root)
            trail = Trail(self._root, where=self._forks.where if self._laying.lines else None)
            ended = self._forks.watched(ALL, lambda clock: trail, self._root, **self._order(turn))
            assert ended.code == QUIET, f"a run without faults ended with {ended.code}:\n{ended.log}"
            trails[name] = trail.steps
        return trails[name]

    def noted(self, scenario: str, now: str, every: int) -> list[Step]:
        snapshots.lay(self._use(scenario).start, self._root)
        trail = Trail(self._root, lambda number: number % every == 0)
        order = self._order(0) | {"now": now}
        self._forks.watched(ALL, lambda clock: trail, self._root, **order)
        return [step for step in trail.steps if step.changes]

    @staticmethod
    def _before(steps: list[Step], call: Place) -> Snapshot:
        for step in steps:
            if (step.name, step.number) == call.at:
                assert step.before is not None
                return step.before
        raise LookupError(f"no call {call}")

    # -- one point ----------------------------------------------------------------------------------

    def tried(self, point: Point, *, sure: bool = False) -> Result:
        """Was the point reached, how did the service end there, and what of the promises."""
        begun, asked, laying = time.monotonic(), Asked(), self._use(point.scenario)
        sure = sure or zlib.crc32(point.key.encode()) % SURE_EVERY == 0
        turn = 2 if point.second else 1
        if point.kind in ("kill", "double"):
            reached, how, state, lies = True, "killed", self._killed(point, sure, asked), False
        else:
            snapshots.lay(laying.start, self._root)
            hampered, ended = self._hampered(point)
            asked.that(ended.code == QUIET, f"{_how(ended)}: {_told(ended.log)}")
            if ended.code == QUIET:
                promises.nothing_waits(self._shop, asked)
            reached, how, state, lies = bool(hampered.struck), _how(ended), snapshots.take(self._root), True
        verdict, merged = self._verdict(state, turn, asked, lies=lies, sure=sure)
        return Result(
            scenario=point.scenario,
            kind=point.kind,
            key=point.key,
            told=str(point),
            reached=reached,
            asked=asked.count + verdict.asked,
            ended=how,
            broken=asked.broken + verdict.broken,
            seconds=round(time.monotonic() - begun, 3),
            merged=merged,
        )

    def _killed(self, point: Point, sure: bool, asked: Asked) -> Snapshot:
        """The folders as the kill leaves them: as they were before the call."""
        assert self._laying
        start, steps = self._laying.start, self.first()
        if point.second:
            start, steps = self._before(steps, point.call), self.recovery(point.call)
        call = point.second or point.call
        state = self._before(steps, call)
        if sure:
            snapshots.lay(start, self._root)
            killed = hampering.Killed(Places(self._root), call.at)
            self._forks.watched([call.name], lambda clock: killed, self._root, **self._order(1 if point.second else 0))
            other = snapshots.difference(state, snapshots.take(self._root))
            asked.that(killed.reached and not other, f"a real kill leaves something else: {other}")
        return state

    def _hampered(self, point: Point) -> tuple[hampering.Hampered, Ended]:
        makers: list[hampering.Hampered] = []
        names, make = self._what_happens(point)

        def answer(clock: Clock) -> Answer:
            makers.append(make(clock))
            return makers[0]

        ended = self._forks.watched(names, answer, self._root, **self._order(0))
        if isinstance(makers[0], hampering.Gone):
            makers[0].end()
        return makers[0], ended

    def _what_happens(self, point: Point) -> tuple[list[str], Callable[[Clock], hampering.Hampered]]:
        """Which calls are asked about, and what answers them."""
        shop, at, what = Places(self._root), point.call.at, point.error
        if point.kind in ("errno", "burst"):
            times = BURST if point.kind == "burst" else 1
            return [point.call.name], lambda clock: hampering.Failing(shop, at, what, times)
        if point.kind == "clock":
            wall, monotonic = {"wall+1h": (HOUR_S, 0.0), "wall-1h": (-HOUR_S, 0.0), "both+1h": (HOUR_S, HOUR_S)}[what]
            return [point.call.name], lambda clock: hampering.Jump(shop, at, clock, wall, monotonic)
        if point.kind == "gone":
            away = scenarios.Away(self._shop.inbox, self._own / "away", empty=what == "empty")
            return ALL, lambda clock: hampering.Gone(shop, at, clock, away.take_away, away.give_back, LASTS_S)
        where = Places(self._shop.inbox if point.kind == "share" else self._shop.state)
        only = hampering.needs_space if point.kind == "state-full" else None
        return ALL, lambda clock: hampering.Outage(shop, at, clock, what, where, LASTS_S, only)

    # -- what follows a fault -----------------------------------------------------------------------

    def _verdict(self, state: Snapshot, turn: int, asked: Asked, *, lies: bool, sure: bool) -> tuple[Verdict, bool]:
        """`lies`: the shop is in this state already. Returns whether the verdict was known."""
        assert self._laying
        key = f"{self._laying.name}-{turn}-{snapshots.digest(state)}"
        known = self._verdicts.get(key)
        if known is not None and not sure:
            return known, True
        if not lies:
            snapshots.lay(state, self._root)
        fresh = self._recovered(turn)
        if known is None:
            return self._verdicts.add(key, fresh), False
        asked.that(known == fresh, f"the same folders ended otherwise: {known} and {fresh}")
        return known, True

    def _recovered(self, turn: int) -> Verdict:
        assert self._laying
        drops, asked, shop = self._laying.drops, Asked(), self._shop
        promises.at_any_instant(shop, drops, asked)
        out = promises.published(shop)
        again = self._forks.run(self._root, **self._order(turn))
        asked.that(again.code == QUIET, f"the run after it: {_how(again)}: {_told(again.log)}")
        promises.after_recovery(shop, drops, asked)
        after = promises.published(shop)
        asked.that(all(after.get(n) == sha for n, sha in out.items()), "what was published has changed")
        asked.that(self._ledger_can_be_deleted(), "the ledger was not rebuilt as it was")
        return Verdict(asked.count, asked.broken)

    def _ledger_can_be_deleted(self) -> bool:
        known = promises.ledger(self._shop)
        for path in self._shop.state.glob("ledger*"):
            path.unlink()
        told = hashlib.sha256(repr([sorted(paths) for paths in known]).encode()).hexdigest()
        key = f"ledger-{told}-{snapshots.digest(snapshots.take(self._root))}"
        if (verdict := self._verdicts.get(key)) is None:
            self._forks.calling(lambda: _rebuild(self._shop))
            same = promises.ledger(self._shop) == known
            verdict = self._verdicts.add(key, Verdict(1, [] if same else ["other"]))
        return not verdict.broken


def _rebuild(shop: Shop) -> None:
    """What the service does at its start with a ledger that is missing."""
    ledger, _ = Ledger.opened(shop.state / "ledger.sqlite3")
    Bookkeeping(shop, ledger, rulebook.load(shop.rules)).reconcile()


def _how(ended: Ended) -> str:
    names = {QUIET: "went on", CRASHED: "crashed", NOT_OPENED: "did not start", NEVER_QUIET: "never quiet"}
    return "killed" if ended.killed else names.get(ended.code, f"code {ended.code}")


def _told(log: str) -> str:
    """What the service said of its trouble, the last of it."""
    told = [t for t in log.splitlines() if t.startswith(("WARNING", "ERROR"))] or log.strip().splitlines()
    return " | ".join(told[-4:])[-900:]


def _own_place(base: Path) -> Path:
    """A folder of the same name for each process where a mount namespace of its own can be had (mount_namespaces(7)),
    so that its mounts go when it does and paths in messages are the same; else one of a name of its own."""
    own = base / "desk"
    own.mkdir(exist_ok=True)
    new_namespace, recursive, private = 0x20000, 0x4000, 1 << 18
    libc = ctypes.CDLL(None)
    alone = libc.unshare(new_namespace) == 0 and libc.mount(None, b"/", None, recursive | private, None) == 0
    if alone and libc.mount(b"keyturn-test", os.fsencode(own), b"tmpfs", 0, None) == 0:
        return own
    own = base / f"desk-{os.getpid()}"
    own.mkdir()
    return own


# -- called in a process of the pool ----------------------------------------------------------------

_desk: list[Desk] = []


def begin(base: Path, now: datetime) -> None:
    ended_with_parent = 1  # PR_SET_PDEATHSIG, prctl(2): a campaign that is killed leaves nobody behind
    ctypes.CDLL(None).prctl(ended_with_parent, signal.SIGKILL, 0, 0, 0)
    zygote.warm_up()
    _desk.append(Desk(base, now))
    Finalize(None, _desk[0].close, exitpriority=1)


def all_points(scenario: str, kind: str, every: int, firsts: int | None, lines: bool) -> list[Point]:
    return _desk[0].points(scenario, kind, every, firsts, lines)


def try_all(chosen: list[Point], *, sure: bool) -> list[Result]:
    return [_desk[0].tried(point, sure=sure) for point in chosen]


def noted(scenario: str, now: str, every: int) -> list[Step]:
    """The changing calls of a run at that time, each `every`-th with the folders before it."""
    return _desk[0].noted(scenario, now, every)
