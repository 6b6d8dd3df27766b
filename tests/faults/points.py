"""The points of the campaign: which fault, at which call of which scenario."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from faults.hampering import Step
from faults.running import OPENING

ERRORS = ("EIO", "ENOSPC", "EROFS", "EMFILE", "EACCES")
"""A call is only given those that it can give: see `errors_of`."""

SHARE_ERRORS = ("ESTALE", "EIO", "EACCES")
BURST = 8
READS_APART = 8
"""A fault that lasts is begun at every call that changes something, and at each so-many-th of the others."""

KINDS = {
    "kill": "killed before the call",
    "double": "and killed again while it recovers",
    "errno": "the call fails once",
    "burst": f"{BURST} calls of its name fail",
    "share": "from the call on the inbox gives nothing but an error, for three minutes",
    "gone": "from the call on the inbox is an empty folder, or none, for three minutes",
    "state-full": "from the call on there is no space for state, for three minutes",
    "clock": "the clocks are set an hour ahead or back at the call",
}


@dataclass(frozen=True, slots=True)
class Place:
    """The `number`-th call of a name that touches the shop."""

    name: str
    number: int
    text: str = ""

    @property
    def at(self) -> tuple[str, int]:
        return self.name, self.number

    def __str__(self) -> str:
        return f"{self.name}#{self.number}"


@dataclass(frozen=True, slots=True)
class Point:
    """One fault. `second` is a call of the recovery run at which the service is killed again."""

    scenario: str
    kind: str
    call: Place
    error: str = ""
    second: Place | None = None
    line: str = ""
    """Which line of the code the fault hits: `Step.line` of its (second) call."""

    @property
    def key(self) -> str:
        """The same in every run: names of files hold random parts, the order of the calls does not."""
        after = f" then {self.second}" if self.second else ""
        return f"{self.scenario} {self.kind} {self.error or '-'} {self.call}{after}"

    def __str__(self) -> str:
        after = f", then before {self.second.text[:120]}" if self.second else ""
        return f"{self.scenario} {self.kind} {self.error} {self.call}: {self.call.text[:160]}{after}"


def place(step: Step) -> Place:
    return Place(step.name, step.number, step.text)


def thinned(steps: Iterable[Step], every: int) -> list[Step]:
    """All renames, and each `every`-th of the rest."""
    return [step for number, step in enumerate(steps) if step.renames or number % every == 0]


def errors_of(step: Step) -> tuple[str, ...]:
    """By the calls' man pages: only what writes can find a disk full or read-only, only what opens can find too many
    files open. EACCES of an open file comes from shares (open(2), "NFS")."""
    opens = step.name in OPENING
    return tuple(
        error for error in ERRORS if (step.changes or error not in ("ENOSPC", "EROFS")) and (opens or error != "EMFILE")
    )


Recovery = Callable[[Place], list[Step]]
"""The calls of the run that follows a kill before a call."""


def of(
    scenario: str, kind: str, every: int, steps: list[Step], recovery: Recovery, *, firsts: int | None = None
) -> Iterator[Point]:
    """The points of one kind; `steps` are the calls of a run without faults. `firsts`: so many first kills of a double
    one at most, else all renames."""
    changing = [step for step in steps if step.changes]
    if kind == "kill":
        yield from (Point(scenario, kind, place(step), line=step.line) for step in thinned(changing, every))
    elif kind == "double":
        renames = [place(step) for step in changing if step.renames]
        for first in renames[:: -(-len(renames) // firsts) if firsts else 1]:
            again = [step for step in recovery(first) if step.changes]
            yield from (
                Point(scenario, kind, first, second=place(step), line=step.line) for step in again[:: 4 * every]
            )
    elif kind in ("errno", "burst"):
        yield from _each(scenario, kind, thinned(steps, every) if every > 1 else steps, errors_of, every)
    else:
        begun = [step for number, step in enumerate(steps) if step.changes or number % READS_APART == 0]
        yield from _each(scenario, kind, begun[::every], lambda step: _VARIANTS[kind], every)


_VARIANTS = {
    "share": SHARE_ERRORS,
    "gone": ("empty", "missing"),
    "state-full": ("ENOSPC",),
    "clock": ("wall+1h", "wall-1h", "both+1h"),
}


def _each(
    scenario: str, kind: str, steps: list[Step], variants: Callable[[Step], tuple[str, ...]], every: int
) -> Iterator[Point]:
    """Every variant at every step; in a sample the variants take turns."""
    for turn, step in enumerate(steps):
        found = variants(step)
        for variant in [found[turn % len(found)]] if every > 1 else found:
            yield Point(scenario, kind, place(step), variant, line=step.line)


class FirstAtEachLine:
    """Of the points of several scenarios, one after the other, those at which a kind of fault first hits a line of
    the code. Of a call that fails once every error is one of its own; the variants of other faults take turns."""

    def __init__(self) -> None:
        self._known = defaultdict[str, set[tuple[str, str]]](set)
        self._turn = 0

    def of(self, found: Iterable[Point]) -> list[Point]:
        """`found` are points of one scenario and kind, those of one call one after the other."""
        chosen = []
        for _, group in itertools.groupby(found, lambda point: (point.call, point.second)):
            new = [point for point in group if self._mark(point) not in self._known[point.kind]]
            if len(new) > 1 and new[0].kind != "errno":
                new = [new[self._turn % len(new)]]
                self._turn += 1
            for point in new:
                self._known[point.kind].add(self._mark(point))
            chosen += new
        return chosen

    @staticmethod
    def _mark(point: Point) -> tuple[str, str]:
        return point.line, point.error if point.kind == "errno" else ""
