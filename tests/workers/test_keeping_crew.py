"""A crew that finds again what was made before: the same results, in the same order, with the job's own names."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from keyturn.shop.file_digests import FileDigests
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.reasons import Reason, Refused, mended, refuse
from keyturn.workers import keeping_crew
from keyturn.workers.crew import InlineCrew
from keyturn.workers.keeping_crew import KeepingCrew, KeptTask, Rename
from samples import PATIENCE_S, examples


@dataclass(frozen=True)
class Trace:
    """A picture to be traced; `depth` says how finely."""

    path: Path
    name: str
    depth: int = 1


@dataclass(frozen=True)
class Traced:
    data: bytes
    cells: NDArray[np.uint16]
    reasons: tuple[Reason, ...]


DONE: list[str] = []


def trace(job: Trace) -> Traced:
    DONE.append(job.name)
    data = job.path.read_bytes()
    if data == b"broken":
        raise Refused([refuse("broken", "is broken", "mend it", file=job.name)])
    cells = np.frombuffer(data * job.depth, np.uint8).astype(np.uint16).reshape(1, -1)
    return Traced(data * job.depth, cells, (mended("traced", "was traced", file=job.name),))


def same(job: Trace) -> str:
    DONE.append(job.name)
    return job.name


def named(result: Traced, rename: Rename) -> Traced:
    reasons = (r.model_copy(update={"file": rename(r.file or "")}) for r in result.reasons)
    return replace(result, reasons=tuple(reasons))


TRACES = KeptTask[Trace, Traced](trace, Traced, lambda job, rename: replace(job, name=rename(job.name)), named)


@pytest.fixture(autouse=True)
def nothing_done() -> Iterator[None]:
    DONE.clear()
    yield


class Room:
    """A folder of art and one of kept results; every crew is that of a new process and a new drop."""

    def __init__(self, folder: Path) -> None:
        self.art = folder / "art"
        self.art.mkdir()
        self.kept = KeptResults(folder / "kept", 2**24)

    def put(self, name: str, data: bytes) -> Trace:
        path = self.art / name
        path.write_bytes(data)
        os.utime(path, (time.time() - 100,) * 2)
        return Trace(path, name)

    def crew(self, code: bytes = b"1") -> KeepingCrew:
        return KeepingCrew(InlineCrew(), self.kept, [TRACES], FileDigests(), code)

    def run(self, jobs: Iterable[Trace], code: bytes = b"1") -> list[Traced | Refused]:
        DONE.clear()
        return list(self.crew(code).run(trace, jobs, lambda job: job.name))


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path)


def shown(results: Iterable[Traced | Refused]) -> list[object]:
    return [
        r.reasons if isinstance(r, Refused) else (r.data, r.cells.tolist(), r.cells.dtype, r.reasons) for r in results
    ]


def test_a_second_run_makes_nothing_and_gives_the_same(room: Room) -> None:
    jobs = [room.put(f"{n}.png", bytes([n]) * 5) for n in range(5)]
    first = shown(room.run(jobs))
    assert len(DONE) == 5
    assert shown(room.run(jobs)) == first and DONE == []


def test_only_what_changed_is_made_again(room: Room) -> None:
    jobs = [room.put(f"{n}.png", bytes([n]) * 5) for n in range(9)]
    room.run(jobs)
    jobs[4] = room.put("4.png", b"redrawn")
    found = room.run(jobs)
    assert DONE == ["4.png"]
    assert [r.data for r in found if isinstance(r, Traced)][4] == b"redrawn"
    room.run([replace(job, depth=2) for job in jobs])
    assert len(DONE) == 9


def test_another_drop_finds_the_picture_under_its_own_name(room: Room) -> None:
    room.run([room.put("lamp.png", b"lamps")])
    (found,) = room.run([room.put("Laterne 1.png", b"lamps")])
    assert DONE == []
    assert isinstance(found, Traced) and found.reasons[0].file == "Laterne 1.png"


def test_another_ending_another_program_and_another_task_find_nothing(room: Room) -> None:
    job = room.put("lamp.png", b"lamps")
    room.run([job])
    room.run([room.put("lamp.dat", b"lamps")])
    assert DONE == ["lamp.dat"]
    room.run([job], code=b"2")
    assert DONE == ["lamp.png"]
    DONE.clear()
    for _ in range(2):  # no task whose results are kept
        assert list(room.crew().run(same, [job], lambda one: one.name)) == ["lamp.png"]
    assert len(DONE) == 2


def test_what_is_refused_is_tried_again(room: Room) -> None:
    job = room.put("lamp.png", b"broken")
    for _ in range(2):
        (found,) = room.run([job])
        assert isinstance(found, Refused) and DONE == ["lamp.png"]


def test_a_file_that_is_not_there_is_the_workers_to_tell(room: Room) -> None:
    with pytest.raises(FileNotFoundError):
        room.run([Trace(room.art / "none.png", "none.png")])


@pytest.mark.parametrize("spoil", [b"", b"\x00", b"lamps"])
def test_a_spoilt_entry_is_made_again(room: Room, spoil: bytes) -> None:
    job = room.put("lamp.png", b"lamps")
    first = shown(room.run([job]))
    (entry,) = (path for path in room.kept.folder.rglob("*") if path.is_file())
    entry.write_bytes(entry.read_bytes()[:40] + spoil)
    assert shown(room.run([job])) == first and DONE == ["lamp.png"]
    assert shown(room.run([job])) == first and DONE == []


def test_bytes_that_are_whole_but_no_result_are_made_again(room: Room) -> None:
    job = room.put("lamp.png", b"lamps")
    room.run([job])
    (entry,) = (path for path in room.kept.folder.rglob("*") if path.is_file())
    room.kept.write(bytes.fromhex(entry.parent.name + entry.name), b"\x93\x01\x02\x03")
    room.run([job])
    assert DONE == ["lamp.png"]


def test_an_entry_that_vanishes_between_look_and_reading_is_made_again(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    jobs = [room.put(f"{n}.png", bytes([n]) * 5) for n in range(40)]
    first = shown(room.run(jobs))
    monkeypatch.setattr(KeptResults, "read", lambda self, key: None)
    assert shown(room.run(jobs)) == first and len(DONE) == 40


def test_what_was_made_while_its_file_was_written_is_not_kept(room: Room) -> None:
    job = room.put("lamp.png", b"lamps")

    class Meanwhile(InlineCrew):
        def run(self, task, jobs, names):  # type: ignore[no-untyped-def]
            for one in jobs:
                job.path.write_bytes(b"LAMPS")
                yield task(one)

    crew = KeepingCrew(Meanwhile(), room.kept, [TRACES], FileDigests(), b"1")
    (made,) = crew.run(trace, [job], lambda one: one.name)
    assert isinstance(made, Traced) and made.data == b"LAMPS"
    assert not room.kept.size()


def test_a_disk_that_fails_costs_nothing_but_time(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    job = room.put("lamp.png", b"lamps")
    first = shown(room.run([job]))
    room.kept.folder.rename(room.kept.folder.with_name("away"))
    room.kept.folder.touch()  # in a file's place no folder can be made
    assert shown(room.run([job])) == first and DONE == ["lamp.png"]


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(st.booleans(), max_size=80), st.integers(0, 90))
def test_results_come_in_the_order_of_the_jobs(
    tmp_path_factory: pytest.TempPathFactory, known: list[bool], taken: int
) -> None:
    """Whatever is found and whatever is not, and jobs are read no further than needed."""
    room = Room(tmp_path_factory.mktemp("room"))
    jobs = [room.put(f"{n}.png", n.to_bytes(2, "big")) for n in range(len(known))]
    room.run([job for job, is_known in zip(jobs, known, strict=True) if is_known])
    DONE.clear()
    given_out = 0

    def counted() -> Iterator[Trace]:
        nonlocal given_out
        for job in jobs:
            given_out += 1
            yield job

    results = room.crew().run(trace, counted(), lambda job: job.name)
    for number, result in zip(range(taken), results, strict=False):
        assert isinstance(result, Traced) and result.data == number.to_bytes(2, "big")
        assert given_out <= number + keeping_crew.FOUND_AHEAD + 1
    if taken > len(known):
        assert [f"{n}.png" for n, is_known in enumerate(known) if not is_known] == DONE


@dataclass
class _Logo:
    wide: int


@dataclass
class _Panel:
    logo: _Logo
    name: str


def test_two_drops_may_learn_to_read_a_kept_result_at_the_same_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the lock this ends the whole process: msgspec 0.22, decoding into a dataclass it has half looked at."""
    looked, inside = msgspec._utils.get_class_annotations, threading.Event()

    def slowly(wanted: type) -> object:
        if wanted is _Logo:
            inside.set()
            time.sleep(0.3)
        return looked(wanted)

    monkeypatch.setattr(msgspec._utils, "get_class_annotations", slowly)
    panel = _Panel(_Logo(768), "tall")
    data, found = memoryview(keeping_crew._packed(panel)), list[object]()
    other = threading.Thread(target=lambda: found.append(keeping_crew._unpacked(_Panel, data)))
    other.start()
    assert inside.wait(PATIENCE_S)
    found.append(keeping_crew._unpacked(_Panel, data))
    other.join()
    assert found == [panel, panel]


def test_the_crews_own_calls_go_on_to_the_workers(room: Room) -> None:
    called: list[str] = []

    class Noting(InlineCrew):
        def wake(self) -> None:
            called.append("wake")

        def rest(self) -> None:
            called.append("rest")

        def shed(self) -> None:
            called.append("shed")

        def close(self) -> None:
            called.append("close")

    crew = KeepingCrew(Noting(), room.kept, [TRACES], FileDigests(), b"1")
    for name in ("wake", "rest", "shed", "close"):
        getattr(crew, name)()
    assert called == ["wake", "rest", "shed", "close"]
