"""What the campaign found, one JSON line a point: a file of them grows over many runs and is summed up at the end."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from itertools import groupby
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Result:
    """One point tried. `key` names it in every run, `told` also says which file it was about."""

    scenario: str
    kind: str
    key: str
    told: str
    reached: bool
    asked: int
    ended: str
    broken: list[str]
    seconds: float
    merged: bool = False
    """The folders were then the same as after another fault, so the run that follows was not run again."""


@dataclass
class Tally:
    """Results so far; with a `file` each is written down as soon as it is known."""

    file: Path | None = None
    results: list[Result] = field(default_factory=list)

    def add(self, result: Result) -> None:
        self.results.append(result)
        if self.file is not None:
            with self.file.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(result)) + "\n")

    @property
    def points(self) -> int:
        return len(self.results)

    @property
    def reached(self) -> int:
        return sum(result.reached for result in self.results)

    @property
    def merged(self) -> int:
        return sum(result.merged for result in self.results)

    @property
    def asked(self) -> int:
        return sum(result.asked for result in self.results)

    @property
    def ended(self) -> Counter[str]:
        return Counter(result.ended for result in self.results)

    @property
    def broken(self) -> list[Result]:
        return [result for result in self.results if result.broken]

    def row(self) -> str:
        """One line of the table below HEAD."""
        scenario, kind = self.results[0].scenario, self.results[0].kind
        cost = sum(result.seconds for result in self.results) / self.points
        ends = ", ".join(f"{n} {how}" for how, n in self.ended.most_common())
        counts = f"{self.points:6} {self.reached:7} {self.merged:6} {self.asked:8} {len(self.broken):6} {cost:7.3f}"
        return f"{scenario:14} {kind:10} {counts}  {ends}"


HEAD = "scenario       fault      points reached merged promises broken s/point  ended"


def read(file: Path) -> list[Result]:
    """The results in a file, the last word on each point; a line that was cut off counts for nothing."""
    latest = {result.key: result for result in _lines(file)} if file.exists() else {}
    return list(latest.values())


def _lines(file: Path) -> Iterator[Result]:
    for line in file.read_text(encoding="utf-8").splitlines():
        try:
            yield Result(**json.loads(line))
        except ValueError:
            continue


def table(results: Iterable[Result]) -> Iterator[str]:
    """A row for each scenario and kind of fault, one for all, then every broken promise."""
    every = sorted(results, key=lambda r: (r.scenario, r.kind))
    yield HEAD
    for _, group in groupby(every, key=lambda r: (r.scenario, r.kind)):
        yield Tally(results=list(group)).row()
    whole = Tally(results=every)
    counts = f"{whole.points} points, {whole.reached} reached, {whole.merged} merged, {whole.asked} promises"
    yield f"in all: {counts}, {len(whole.broken)} broken"
    for result in whole.broken:
        yield "\n    ".join([f"  {result.told}", *result.broken])
