"""Write one stick after the other: which is the next, whether another one is there, and what is left.

A stick is told from another by the id of its file system and its serial number (`mounts.stick_id`). Where it tells
neither, and in a folder that is no stick, another one is one that does not hold the job's files yet. Each is noted
beside the revision before the next one is asked for, so that it may stop at any point.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from keyturn.commands import job_search, stick_copy
from keyturn.commands.stick_copy import StickFolder
from keyturn.shop import mounts
from keyturn.shop.file_names import is_junk
from keyturn.shop.name_rules import Names
from keyturn.shop.records import JobRecord
from keyturn.shop.slips import Slip

LOOK_EVERY_S = 0.5

SYSTEMS_OWN = frozenset({"system volume information", "lost.dir", "found.000"})
"""Folders that systems make on a stick by themselves (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class StickToMake:
    """A stick of the row: for which vehicle, where the job names them, and what goes on it.

    `several`: the row has sticks of several jobs.
    """

    vehicle: str
    source: StickFolder
    several: bool = False

    @property
    def name(self) -> str:
        """What people call it."""
        if not self.several:
            return self.vehicle or self.source.radio.radio
        radio = self.source.radio.radio if len(self.source.job.radios) > 1 else ""
        return ", ".join(filter(None, (self.source.job.job, self.vehicle or radio)))

    @property
    def key(self) -> tuple[str, str]:
        """The vehicle and the radio that it is for."""
        return self.vehicle, self.source.radio.radio


def sticks_of(
    job: JobRecord, folder: Path, radio: str | None, vehicles: Collection[str], several: bool = False
) -> tuple[StickToMake, ...]:
    """Return the sticks of the revision in `folder`: one for each vehicle, or `vehicles` of them. For a job that names
    none, one for each radio. `several`: it is one of several jobs.

    Raise `WrongUse` where a job for several radios and vehicles does not say which radio.
    """
    wanted = vehicles or job.vehicles or ("",)
    radios = [job_search.one_radio(job, radio)] if radio or job.vehicles else job.radios
    return tuple(
        StickToMake(name, StickFolder(job, each, folder / each.folder), several) for name in wanted for each in radios
    )


def left_of(every: Sequence[StickToMake], copied: Iterable[Slip], fitted: Iterable[Slip]) -> tuple[StickToMake, ...]:
    """Return the sticks that are still to be made. What is fitted needs none."""
    made = {(slip.vehicle, slip.radio) for slip in (*copied, *fitted)}
    return tuple(stick for stick in every if not {stick.key, (stick.vehicle, "")} & made)


def used_for(every: Sequence[StickToMake], copied: Iterable[Slip]) -> dict[str, str]:
    """Return for which of these sticks another one was used last, by its id."""
    last = {(slip.vehicle, slip.radio): slip.stick_id for slip in copied}
    return {last[stick.key]: stick.name for stick in every if last.get(stick.key)}


@dataclass(slots=True)
class StickRow:
    """What one row of sticks needs from outside.

    `look` returns where sticks may be mounted now; `pause` waits a moment. `faults` says what forbids a copy, `agreed`
    whether files in the way may be replaced, `holds_others` whether a stick holds files that are not the job's. `write`
    copies, compares and notes. `used` says by the id of a stick what it was made for.
    """

    look: Callable[[], Sequence[Path]]
    pause: Callable[[], None]
    say: Callable[[str], None]
    faults: Callable[[StickFolder, Path], list[str]]
    agreed: Callable[[StickFolder, Path], bool]
    holds_others: Callable[[StickFolder, Path], bool]
    write: Callable[[StickToMake, Path], None]
    used: dict[str, str]
    _told: dict[Path, object] = field(default_factory=dict)
    _mounts: set[Path] = field(default_factory=set)
    _first_look: bool = True

    def make(self, left: Sequence[StickToMake]) -> None:
        """Make these sticks, each on one that is plugged in. Say how far it came where it is stopped."""
        for number, stick in enumerate(left):
            try:
                self._make(stick, "the next" if number or self.used else "a")
            except BaseException:
                names = ", ".join(other.name for other in left[number:])
                self.say(f"Stopped. Still to be made: {names}. The same command goes on with {stick.name}.")
                raise

    def _make(self, stick: StickToMake, which: str) -> None:
        asked = False
        while (found := self._another(stick)) is None:
            if not asked:
                self.say(f"{stick.name}: plug in {which} stick.")
                asked = True
            self.pause()
        place, known = found
        self.write(stick, place)
        if known:
            self.used[known] = stick.name
        with suppress(OSError):  # it may be out already
            self._told[place] = _state(place, known)

    def _another(self, stick: StickToMake) -> tuple[Path, str] | None:
        """Return where a stick lies that can be written, and its id. Say once of every other why it is not taken."""
        first, self._first_look = self._first_look, False
        there = [place for place in self.look() if self._is_there(place)]
        for gone in self._told.keys() - set(there):
            del self._told[gone]
        for place in there:
            try:
                known = mounts.stick_id(place)
                state = _state(place, known)
                if self._told.get(place) == state:
                    continue
                why = self._why_not(stick, place, known, first) or self._among_others(stick, place, there)
            except OSError:  # it is being plugged in or pulled out
                continue
            if not why:
                return place, known
            self._told[place] = state
            self.say(why)
        return None

    def _is_there(self, place: Path) -> bool:
        """Tell whether a stick is at `place`. The folder where one was mounted is none once that is out."""
        if mounts.mounted_at(place):
            self._mounts.add(place)
        elif place in self._mounts:
            return False
        return place.is_dir()

    def _among_others(self, stick: StickToMake, place: Path, there: Sequence[Path]) -> str:
        """Return why a stick is not taken while others are plugged in that are not made yet: nobody has chosen it, and
        it may be somebody's own."""
        others = [other for other in there if other != place and mounts.stick_id(other) not in self.used]
        if not others or not self.holds_others(stick.source, place):
            return ""
        return f"{place} holds other files: plug it in alone, or name it after the job."

    def _why_not(self, stick: StickToMake, place: Path, known: str, first: bool) -> str:
        """Return why the stick at `place` is not taken; empty where it is."""
        if known in self.used:
            which = f'--vehicle "{stick.vehicle}"' if stick.vehicle else f"--radio {stick.source.radio.radio}"
            again = f"{place} is the stick of {self.used[known]} again: take it out, and plug in another one."
            return f"{again} If it is another all the same: keyturn copy {stick.source.job.job} {which}"
        if not known and (why := not_another(stick.source, place, halfway=first)):
            return why
        if faults := self.faults(stick.source, place):
            return "; ".join(faults)
        return "" if self.agreed(stick.source, place) else f"{place} is left as it is."


def not_another(source: StickFolder, place: Path, *, halfway: bool) -> str:
    """Return why what tells no id cannot be told from a finished stick of the job; empty where it can.

    It may hold no file of the job, and a folder that is no stick no file at all: somebody may just be emptying it.
    `halfway`: it may hold some of the job's files, which a copy left when it was stopped.
    """
    wanted = {file.path for file in source.radio.files}
    left = {path + stick_copy.HALFWAY for path in wanted}
    there = {path.relative_to(place).as_posix() for path in place.rglob("*") if not path.is_dir()}
    if wanted <= there or (there & wanted and not halfway):
        return f"{place} holds files of this job: empty it, or use another."
    if mounts.mounted_at(place) or not there - wanted - left:
        return ""
    return f"{place} is not empty: empty it, or put a new folder in its place."


def holds_others(source: StickFolder, place: Path, names: Names) -> bool:
    """Tell whether anything lies on the stick that is neither the job's nor what systems leave on sticks."""
    own = {Path(file.path).parts[0] for file in source.radio.files}
    own |= {name + stick_copy.HALFWAY for name in own}
    theirs = [path.name for path in place.iterdir() if path.name not in own and not path.name.startswith(".")]
    return any(name.lower() not in SYSTEMS_OWN and not is_junk(name, names) for name in theirs)


def _state(place: Path, known: str) -> object:
    """Return a value that changes with the stick, and when a name in its root comes or goes (POSIX)."""
    stat = place.stat()
    return known, stat.st_dev, stat.st_ino, stat.st_mtime_ns
