"""One drop's crew: the time of a whole drop is bounded, and no later stage reads a file that defeats its reader."""

from __future__ import annotations

import pytest

from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import LocalCrew
from keyturn.workers.drop_crew import DropCrew
from samples import Clock, odd, square
from slow_crew import SlowCrew

INTAKE = rulebook.load().intake


def shortened(drop_seconds: float, frames: float = 1e6) -> rulebook.Intake:
    caps = INTAKE.caps.model_copy(update={"drop_seconds": drop_seconds})
    return INTAKE.model_copy(update={"caps": caps, "stages": INTAKE.stages.model_copy(update={"frames": frames})})


@pytest.fixture
def clock() -> Clock:
    return Clock()


def test_results_come_one_for_each_job_and_in_order(clock: Clock) -> None:
    names = [f"{n % 7}.png" for n in range(40)]
    crew = DropCrew(inner := SlowCrew(clock, 1, deadly=["3.png", "5.png"]), shortened(1000), clock=clock)
    results = list(crew.run(str.upper, names, str))
    expected = ["refused" if name in inner.deadly else name.upper() for name in names]
    assert ["refused" if isinstance(r, Refused) else r for r in results] == expected
    assert all(r.reasons[0].file == name for r, name in zip(results, names, strict=True) if isinstance(r, Refused))


def test_a_file_that_defeats_its_reader_is_tried_in_one_stage_only(clock: Clock) -> None:
    crew = DropCrew(inner := SlowCrew(clock, 1, deadly=["logo.svg"]), shortened(1000), clock=clock)
    for _ in range(4):
        (refused,) = crew.run(str.upper, ["logo.svg"], str)
        assert isinstance(refused, Refused)
    assert inner.tried == ["logo.svg"]
    assert list(crew.run(str.upper, ["leaf.png"], str)) == ["LEAF.PNG"]


def test_a_result_that_is_taken_alone_is_remembered_too(clock: Clock) -> None:
    crew = DropCrew(inner := SlowCrew(clock, 1, deadly=["logo.svg"]), shortened(1000), clock=clock)
    next(crew.run(str.upper, ["logo.svg", "leaf.png"], str))
    assert len(list(crew.run(str.upper, ["logo.svg"], str))) == 1
    assert inner.tried == ["logo.svg"]


def test_jobs_that_are_about_no_file_of_the_drop_are_always_tried(clock: Clock) -> None:
    crew = DropCrew(inner := SlowCrew(clock, 1, deadly=[""]), shortened(1000), clock=clock)
    for _ in range(2):
        assert len(list(crew.run(str.upper, ["", ""], str))) == 2
    assert inner.tried == [""] * 4


def test_beyond_the_drop_s_time_its_refusal_is_raised_and_names_the_slowest_file(clock: Clock) -> None:
    crew = DropCrew(inner := SlowCrew(clock, 6), shortened(10), clock=clock)
    list(crew.run(str.upper, ["leaf.png"], str))
    inner.seconds = 9
    taken = []
    with pytest.raises(Refused) as caught:
        for result in crew.run(str.upper, ["fern.svg", "gate.png"], str):
            taken.append(result)
    assert taken == ["FERN.SVG"]
    (reason,) = caught.value.reasons
    assert (reason.code, reason.file) == ("drop-takes-too-long", "fern.svg")
    with pytest.raises(Refused) as again:
        list(crew.run(str.upper, ["leaf.png"], str))
    assert again.value.reasons == caught.value.reasons and inner.tried == ["leaf.png", "fern.svg"]


def test_time_between_two_results_is_not_counted(clock: Clock) -> None:
    """The service writes frames to its disk meanwhile, and a slow disk is no fault of the drop."""
    crew = DropCrew(SlowCrew(clock, 0.1), shortened(10), clock=clock)
    for _ in crew.run(str.upper, [f"{n}.png" for n in range(20)], str):
        clock.at += 100


def test_one_stage_has_a_limit_of_its_own(clock: Clock) -> None:
    stage = ["reading"]
    crew = DropCrew(SlowCrew(clock, 3), shortened(1000, frames=5), lambda: stage[0], clock)
    list(crew.run(str.upper, ["1.png"] * 3, str))
    stage[0] = "frames"
    with pytest.raises(Refused):
        list(crew.run(str.upper, ["1.png"] * 3, str))


def test_workers_that_hang_on_one_file_cost_it_two_tries_for_all_its_frames() -> None:
    """Real workers: what is under way for the same file is ended when its first job is refused."""
    limits = INTAKE.workers.model_copy(update={"wall_seconds": 1.0, "memory_mib": 1024})
    local = LocalCrew(2, limits)
    try:
        crew = DropCrew(local, INTAKE)
        results = list(crew.run(odd, [7] * 12 + [2], lambda n: f"{n}.mp4"))
        assert [isinstance(r, Refused) for r in results] == [True] * 12 + [False]
        assert list(crew.run(square, [3], str)) == [9]
    finally:
        local.close()
