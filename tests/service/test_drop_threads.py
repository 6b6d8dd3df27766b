"""The threads that make drops: what the loop learns from them, and how it waits after a fault."""

from __future__ import annotations

import errno
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from keyturn.service.backoff import Backoff
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_threads import DropThreads, Room
from keyturn.service.set_aside import SetAside
from keyturn.service.side_by_side import SideBySide
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import ShopFault
from keyturn.shop.state_records import Working
from keyturn.workers.crew import InlineCrew
from samples import PATIENCE_S, until

CLAIM = Claim(id="20260301T093000-abc123-van", name="van", form="folder", claimed_at="2026-03-01T09:30:00+00:00")


class Shedding(InlineCrew):
    """A crew that counts how often it gave back memory."""

    def __init__(self) -> None:
        self.shed_count = 0

    def shed(self) -> None:
        self.shed_count += 1


class Loop:
    """What the loop gives to its thread, and what it heard."""

    def __init__(self, process: Callable[[Progress], Outcome]) -> None:
        self.crew = Shedding()
        self.backoff = Backoff(lambda: 100.0)
        self.told: list[Working | None] = []
        self.ended = 0
        self.uncounted: list[Claim] = []
        self.aside = SetAside(Path("nowhere"), lambda: "2026-03-01T09:30:00+00:00", lambda: 100.0, lambda: 900.0)
        self.thread = DropThreads(
            lambda progress: SimpleNamespace(  # type: ignore[arg-type, return-value]
                process=lambda claim: process(progress),
                uncount_try=self.uncounted.append,
                remove_scratch=lambda claim: None,
                bench=SimpleNamespace(crew=self.crew),
            ),
            self.backoff,
            self.aside,
            lambda: False,
            lambda: "2026-03-01T09:30:00+00:00",
            self.told.append,
            self._end,
        )

    def _end(self) -> None:
        self.ended += 1

    def make(self) -> Loop:
        self.thread.start(CLAIM)
        self.thread.join(60)
        assert not self.thread.busy()
        return self


def test_progress_is_told_with_the_drop_s_name_and_none_at_the_end() -> None:
    def process(progress: Progress) -> Outcome:
        progress.expect(1)
        progress.stage("frames")
        progress.frame()
        return Outcome.READY

    loop = Loop(process).make()
    assert [(w.name, w.stage, w.done, w.total) if w else None for w in loop.told] == [
        ("van", "frames", 0, 1),
        ("van", "frames", 1, 1),
        None,
    ]
    assert loop.ended == 1 and loop.backoff.may_try()
    assert loop.crew.shed_count == 1, "what the workers keep of one drop is given back"


@pytest.mark.parametrize(
    "fault", [ShopFault("the cluster cannot be reached"), OSError(errno.ENOSPC, "No space left on device")]
)
def test_a_fault_of_the_machine_pauses_and_the_try_does_not_count(fault: Exception) -> None:
    def process(progress: Progress) -> Outcome:
        raise fault

    loop = Loop(process).make()
    assert not loop.backoff.may_try() and loop.thread.doubtful
    assert loop.uncounted == [CLAIM] and loop.thread.pending == []
    assert loop.ended == 1 and loop.told == [None]


def test_a_bug_while_the_drop_is_moved_sets_it_aside_after_the_second_time_and_pauses_nobody() -> None:
    def process(progress: Progress) -> Outcome:
        raise ZeroDivisionError("while it is moved")

    loop = Loop(process).make()
    assert loop.backoff.may_try() and loop.backoff.fault == ""
    assert loop.thread.pending == [CLAIM] and loop.uncounted == [CLAIM], "it ended no process"
    loop.make()
    (row,) = loop.aside.rows()
    assert "Keyturn itself failed" in row.what and "while it is moved" in row.what and "log" in row.mend


def test_success_ends_a_pause_and_being_stopped_does_not() -> None:
    for outcome, over in ((Outcome.READY, True), (Outcome.STOPPED, False)):
        loop = Loop(lambda progress, outcome=outcome: outcome)  # type: ignore[misc]
        loop.backoff.pause(ShopFault("the disk is full"))
        assert (loop.make().backoff.fault == "") is over


def test_a_fault_of_a_file_in_the_drop_pauses_nothing() -> None:
    def process(progress: Progress) -> Outcome:
        raise PermissionError(errno.EACCES, "Permission denied", f"nowhere/{CLAIM.id}/drop/lamps/0001.png")

    loop = Loop(process).make()
    assert loop.backoff.may_try() and loop.backoff.fault == ""
    assert loop.thread.doubtful and loop.uncounted == [CLAIM]


def test_what_is_in_work_is_known_after_a_fault_and_after_a_stop() -> None:
    """A drop in work stays there after both, and is the first one told; those that wait follow."""
    other = CLAIM.model_copy(update={"id": "20260301T094000-abc124-bus", "name": "bus"})

    def fails(progress: Progress) -> Outcome:
        progress.expect(7)
        progress.stage("frames")
        raise OSError(errno.ENOSPC, "No space left on device")

    def stops(progress: Progress) -> Outcome:
        progress.stage("reading")
        return Outcome.STOPPED

    for process, told in ((fails, "frames 0/7"), (stops, "reading")):
        loop = Loop(process).make()
        loop.thread.pending = [other]
        assert [(w.name, w.progress()) for w in loop.thread.in_work()] == [("van", told), ("bus", "waiting")]
        loop.thread.renew([other, CLAIM])
        assert [w.name for w in loop.thread.in_work()] == ["van", "bus"], "each is told once"
        loop.thread.renew([other])
        assert [w.name for w in loop.thread.in_work()] == ["bus"], "it has gone on meanwhile"


def test_a_drop_that_went_on_or_is_set_aside_is_not_in_work() -> None:
    assert Loop(lambda progress: Outcome.REFUSED).make().thread.in_work() == ()

    def fails(progress: Progress) -> Outcome:
        raise PermissionError(errno.EACCES, "Permission denied", f"nowhere/{CLAIM.id}/drop/lamps/0001.png")

    assert Loop(fails).make().make().thread.in_work() == ()


def test_where_no_thread_can_be_started_the_drop_stays_and_the_service_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """pthread_create(3): EAGAIN where no more threads are allowed; Python raises RuntimeError."""

    def fails(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    loop = Loop(lambda progress: Outcome.READY)
    with monkeypatch.context() as full:
        full.setattr(threading.Thread, "start", fails)
        loop.make()
        assert "can't start new thread" in loop.backoff.fault and loop.thread.pending == [CLAIM]
        assert [w.name for w in loop.thread.in_work()] == ["van"]
    assert loop.make().thread.in_work() == () and loop.backoff.fault == ""


def test_an_error_of_the_system_that_is_not_known_pauses_and_sets_nothing_aside() -> None:
    """A folder of the shop that has gone (ENOENT) stops every drop, not this one."""

    def fails(progress: Progress) -> Outcome:
        raise FileNotFoundError(errno.ENOENT, "No such file or directory", "archive/fern-hollow-mobile-library")

    loop = Loop(fails).make().make()
    assert "archive" in loop.backoff.fault and loop.thread.doubtful
    assert loop.aside.rows() == () and [w.name for w in loop.thread.in_work()] == ["van"]


def test_a_path_in_the_drop_that_is_too_long_is_the_drop_s_fault() -> None:
    def fails(progress: Progress) -> Outcome:
        raise OSError(errno.ENAMETOOLONG, "File name too long", f"nowhere/{CLAIM.id}/drop/lamps")

    loop = Loop(fails).make().make()
    assert loop.backoff.fault == ""
    assert ["shorter folder names" in row.mend for row in loop.aside.rows()] == [True]


def test_there_is_room_for_one_large_drop_and_small_ones_beside_it() -> None:
    let_go = threading.Event()

    def waits(progress: Progress) -> Outcome:
        let_go.wait(PATIENCE_S)
        return Outcome.READY

    small = [CLAIM.model_copy(update={"id": f"{CLAIM.id}-{n}", "is_small": True}) for n in range(3)]
    rush = CLAIM.model_copy(update={"id": f"{CLAIM.id}-rush", "is_small": True, "is_rush": True})
    loop = Loop(waits)
    assert loop.thread.room(3) == Room(beside=False)
    loop.thread.start(small[0])
    assert loop.thread.room(3) == Room() and loop.thread.room(1) is None
    loop.thread.start(CLAIM)
    assert loop.thread.room(3) == Room(small=True)
    loop.thread.doubt()
    assert loop.thread.room(3) is None, "the folders are looked through first, when nothing is being made"
    loop.thread.doubtful = False
    loop.thread.start(small[1])
    assert loop.thread.room(3) == Room(small=True, rush=True), "one in a rush need not wait"
    loop.thread.start(rush)
    assert loop.thread.room(3) is None
    assert loop.thread.room(9) == Room(small=True, rush=True), "while it is made no other is begun"
    assert [w.name for w in loop.thread.in_work()] == ["van"] * 4
    let_go.set()
    loop.thread.join(PATIENCE_S)
    assert loop.thread.room(3) == Room(beside=False) and loop.thread.in_work() == ()


def test_nothing_is_made_beside_a_drop_that_ended_the_service() -> None:
    let_go = threading.Event()

    def waits(progress: Progress) -> Outcome:
        let_go.wait(PATIENCE_S)
        return Outcome.READY

    loop = Loop(waits)
    loop.thread.start(CLAIM.model_copy(update={"tries": 1, "is_small": True}))
    assert loop.thread.room(3) is None
    let_go.set()
    loop.thread.join(PATIENCE_S)


def test_others_wait_while_a_drop_in_a_rush_is_made_unless_it_waits_for_one_of_them() -> None:
    rush = CLAIM.model_copy(update={"id": f"{CLAIM.id}-rush", "is_rush": True})
    began, went_on, let_go = threading.Event(), list[str](), threading.Event()

    def process(progress: Progress) -> Outcome:
        if not began.is_set():
            began.set()
            let_go.wait(PATIENCE_S)
            return Outcome.READY
        progress.check()
        went_on.append("another")
        return Outcome.READY

    for the_rush_waits in (False, True):
        loop = Loop(process)
        went_on.clear()
        began.clear()
        let_go.clear()
        loop.thread.start(rush)
        assert began.wait(PATIENCE_S)
        with loop.thread.side_by_side.alone_with([("fern-hollow", "van")]):
            if the_rush_waits:
                thread = threading.Thread(target=_waits, args=(loop.thread.side_by_side,))
                thread.start()
                until(loop.thread.side_by_side.somebody_waits)
                loop.thread.start(CLAIM)
                until(lambda: went_on == ["another"])
            else:
                loop.thread.start(CLAIM)
                time.sleep(0.2)
                assert went_on == []
        let_go.set()
        loop.thread.join(PATIENCE_S)
        assert went_on == ["another"]


def _waits(beside: SideBySide) -> None:
    with beside.alone_with([("fern-hollow", "van")]):
        pass
