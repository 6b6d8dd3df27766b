"""The crew: results in order, flat memory, and a worker that dies costs only its own drop."""

from __future__ import annotations

import errno
import multiprocessing
import threading
from collections.abc import Iterator
from concurrent.futures import CancelledError
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import pytest
from loguru import logger
from pebble import ProcessExpired
from pebble.pool.process import PoolManager

from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused, ShopFault
from keyturn.shop.rulebook import Workers
from keyturn.workers.crew import DEFEATED, MOST_STARTS, InlineCrew, LocalCrew
from keyturn.workers.process_start import ForkingContext
from keyturn.workers.worker_limits import held_mib
from samples import dies_then_hangs, hoard, odd, square, until


def limits(**changes: object) -> Workers:
    return rulebook.load().intake.workers.model_copy(update=changes)


@pytest.fixture
def crew() -> Iterator[LocalCrew]:
    made = LocalCrew(2, limits(wall_seconds=2.0, memory_mib=1024))
    yield made
    made.close()


def test_results_come_in_the_order_of_the_jobs(crew: LocalCrew) -> None:
    assert list(crew.run(square, range(30), str)) == [n * n for n in range(30)]


def test_jobs_are_drawn_only_as_results_are_taken(crew: LocalCrew) -> None:
    """The window is bounded, so memory does not grow with the number of frames."""
    drawn: list[int] = []

    def jobs() -> Iterator[int]:
        for number in range(1000):
            drawn.append(number)
            yield number

    results = crew.run(square, jobs(), str)
    next(results)
    assert len(drawn) <= 2 * crew.size
    results.close()  # type: ignore[attr-defined]


def test_several_threads_may_give_jobs_to_one_crew(crew: LocalCrew) -> None:
    found: dict[int, list[int | Refused]] = {}

    def run(first: int) -> None:
        found[first] = list(crew.run(square, range(first, first + 40), str))

    threads = [threading.Thread(target=run, args=(100 * number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == {100 * n: [m * m for m in range(100 * n, 100 * n + 40)] for n in range(4)}


def test_workers_that_one_thread_ends_are_started_again_for_another_s_jobs(crew: LocalCrew) -> None:
    results = crew.run(square, range(20), str)
    assert next(results) == 0
    crew.rest()
    assert list(results) == [n * n for n in range(1, 20)]


def test_workers_with_jobs_keep_what_they_read_last() -> None:
    """What one drop leaves is given back when no other one is being made."""
    crew = LocalCrew(1, limits(kept_mib=0))
    results = crew.run(square, range(20), str)
    next(results)
    before = set(crew._workers())
    crew.shed()
    assert set(crew._workers()) == before
    assert len(list(results)) == 19
    crew.shed()
    assert crew._workers() == {}
    crew.close()


def test_a_refused_a_dying_a_hanging_and_a_greedy_job_cost_only_themselves(crew: LocalCrew) -> None:
    results = list(crew.run(odd, range(1, 11), lambda n: f"{n}.png"))
    kept = [r for r in results if not isinstance(r, Refused)]
    assert kept == [1, 2, 4, 6, 8, 10]
    refused = {r.reasons[0].file: r.reasons[0].what for r in results if isinstance(r, Refused)}
    assert set(refused) == {"3.png", "5.png", "7.png", "9.png"}
    assert "longer than 2 s" in refused["7.png"]
    assert "memory" in refused["9.png"]


def test_workers_rest_and_come_back(crew: LocalCrew) -> None:
    assert list(crew.run(square, [2], str)) == [4]
    crew.rest()
    crew.rest()
    assert list(crew.run(square, [3], str)) == [9]


def test_inline_and_local_crews_agree(crew: LocalCrew) -> None:
    assert list(InlineCrew().run(square, range(9), str)) == list(crew.run(square, range(9), str))
    (inline,) = InlineCrew().run(odd, [3], str)
    assert isinstance(inline, Refused)


def test_workers_that_die_at_their_start_are_the_shop_s_fault() -> None:
    """A limit that no process can set ends each worker before its first job, as a machine without memory does."""
    crew = LocalCrew(1, limits(memory_mib="much"))
    for _ in range(2):
        with pytest.raises(ShopFault, match="no workers can be started"):
            list(crew.run(square, [2, 3], str))
    crew.close()


def test_a_job_that_ends_its_worker_before_it_was_heard_of_is_to_blame_and_not_the_machine(
    crew: LocalCrew, monkeypatch: pytest.MonkeyPatch
) -> None:
    """pebble gives up the pool where a worker ends of whose job it has not heard yet: here of every job."""

    def unheard(self: PoolManager, worker_id: int) -> None:
        raise BrokenProcessPool("All workers expired")

    monkeypatch.setattr(PoolManager, "find_expired_task", unheard)
    four, five = crew.run(odd, [4, 5], lambda n: f"{n}.png")
    assert four == 4 and isinstance(five, Refused)
    assert (five.reasons[0].code, five.reasons[0].file) == (DEFEATED, "5.png")


def test_where_workers_die_that_are_given_nothing_to_do_the_machine_is_at_fault(
    crew: LocalCrew, monkeypatch: pytest.MonkeyPatch
) -> None:
    errors = iter([*[BrokenProcessPool("All workers expired")] * MOST_STARTS, ProcessExpired("Abnormal termination")])

    def awaited(self: LocalCrew, given: Any) -> Any:
        raise next(errors)

    monkeypatch.setattr(LocalCrew, "_awaited", awaited)
    with pytest.raises(ShopFault, match="no workers can be started"):
        list(crew.run(square, [2], str))


def test_workers_that_die_while_they_wait_are_started_again(crew: LocalCrew, monkeypatch: pytest.MonkeyPatch) -> None:
    """What broke a worker's memory may end it later. pebble then gives up the whole pool: "All workers expired"."""
    real, broken = LocalCrew._awaited, iter(range(MOST_STARTS - 1))

    def awaited(self: LocalCrew, given: Any) -> Any:
        found = real(self, given)
        if next(broken, None) is not None:
            self.rest()
            raise BrokenProcessPool("All workers expired")
        return found

    monkeypatch.setattr(LocalCrew, "_awaited", awaited)
    assert list(crew.run(square, [2, 3, 4], str)) == [4, 9, 16]


@pytest.mark.parametrize(
    "error",
    [OSError(errno.EAGAIN, "Resource temporarily unavailable"), RuntimeError("can't start new thread")],
    ids=["no process", "no thread"],
)
def test_where_no_process_or_thread_can_be_had_it_is_the_shop_s_fault(
    monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """fork(2): EAGAIN beyond RLIMIT_NPROC or pids.max. Once there is room again, the same crew works."""

    def fails(*args: object, **named: object) -> None:
        raise error

    crew = LocalCrew(1, limits())
    with monkeypatch.context() as full:
        full.setattr(ForkingContext, "Process", fails)
        crew.wake()
        with pytest.raises(ShopFault, match=str(error.args[-1])):
            list(crew.run(square, [2], str))
    assert list(crew.run(square, [2], str)) == [4]
    crew.close()


def test_a_pool_that_fails_once_is_replaced_and_the_job_done(crew: LocalCrew, monkeypatch: pytest.MonkeyPatch) -> None:
    real, failures = ForkingContext.Process, iter([True])

    def fails_once(self: ForkingContext, *args: object, **named: object) -> object:
        if next(failures, False):
            raise OSError(errno.EAGAIN, "Resource temporarily unavailable")
        return real(self, *args, **named)

    monkeypatch.setattr(ForkingContext, "Process", fails_once)
    assert list(crew.run(square, [2, 3], str)) == [4, 9]


def test_a_closed_crew_starts_no_workers_again(crew: LocalCrew) -> None:
    results = crew.run(square, range(100), str)
    next(results)
    crew.close()
    with pytest.raises(CancelledError):
        list(results)
    with pytest.raises(CancelledError):
        list(crew.run(square, [2], str))
    assert not [p for p in multiprocessing.active_children() if p.name == "pebble_pool_worker"]


def test_workers_that_keep_much_memory_after_a_drop_are_replaced() -> None:
    """The bound lies 60 MiB above what a worker holds at first: it is forked from one that has run other tests."""
    crew = LocalCrew(1, limits())
    (first,) = crew.run(hoard, [1], str)
    bound = round(held_mib(first)) + 60
    crew.close()
    crew = LocalCrew(1, limits(kept_mib=bound))
    try:
        (before,) = crew.run(hoard, [1], str)
        crew.shed()
        assert list(crew.run(hoard, [1], str)) == [before], "it keeps little: the same process"
        list(crew.run(hoard, [150], str))
        crew.shed()
        (after,) = crew.run(hoard, [1], str)
        assert after != before
        assert held_mib(after) < bound
    finally:
        crew.close()


def test_a_crew_without_workers_has_nothing_to_give_back() -> None:
    crew = LocalCrew(1, limits())
    crew.shed()
    crew.close()
    crew.shed()


def test_a_job_whose_worker_is_ended_by_the_close_is_not_refused(tmp_path: Path) -> None:
    """The service stops while a picture on which one worker failed is tried once more: its drop is made again at the
    next start. Nothing is wrong with the workers either, and the log does not say so."""
    logged: list[str] = []
    logger.add(logged.append, format="{message}", level="WARNING")
    crew = LocalCrew(1, limits(wall_seconds=60.0))
    results = crew.run(dies_then_hangs, [str(tmp_path / "sign")], str)

    def close() -> None:
        until((tmp_path / "sign-again").exists)
        crew.close()

    closing = threading.Thread(target=close)
    closing.start()
    with pytest.raises(CancelledError):
        next(results)
    closing.join()
    assert len(logged) == 1 and "a worker failed on" in logged[0], "that of the first try"
