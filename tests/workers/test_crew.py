"""The crew: results in order, flat memory, and a worker that dies costs only its own drop."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Workers
from keyturn.workers.crew import InlineCrew, LocalCrew
from samples import odd, square


def limits(**changes: float) -> Workers:
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
