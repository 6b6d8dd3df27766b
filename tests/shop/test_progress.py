"""Progress of one drop: what is told, how long each stage took by a clock that the test holds, and when to stop."""

from __future__ import annotations

import pytest

from keyturn.shop.progress import Progress, Stopped


def test_stages_are_timed_from_one_to_the_next_and_told_onward() -> None:
    clock = iter([10.0, 10.0, 10.5, 12.5, 12.75, 12.75])
    told: list[tuple[str, int, int]] = []
    progress = Progress(lambda *said: told.append(said), clock=lambda: next(clock))
    progress.stage("reading")
    progress.expect(2)
    progress.stage("frames")
    progress.frame()
    progress.frame()
    progress.stage("publish")
    assert progress.times() == "2.750 s: reading 0.500, frames 2.000, publish 0.250"
    assert told == [("reading", 0, 0), ("frames", 0, 2), ("frames", 1, 2), ("frames", 2, 2), ("publish", 2, 2)]


def test_a_stage_that_comes_again_adds_to_its_time() -> None:
    clock = iter([0.0, 0.0, 1.0, 3.0, 6.0, 6.0])
    progress = Progress(clock=lambda: next(clock))
    for stage in ("frames", "judge", "frames"):
        progress.stage(stage)
    assert progress.times() == "6.000 s: frames 4.000, judge 2.000"


def test_after_the_first_of_two_radios_half_is_done_and_no_more() -> None:
    told: list[tuple[str, int, int]] = []
    progress = Progress(lambda *said: told.append(said))
    progress.expect(4)
    for stage in ("frames", "package", "judge"):
        progress.stage(stage)
        if stage == "frames":
            progress.frame()
            progress.frame()
    assert told[-1] == ("judge", 2, 4)


def test_a_stage_with_pieces_of_its_own_tells_those_and_how_long_it_has_taken() -> None:
    clock = iter([0.0, 0.0, 5.0, 7.0, 8.0, 10.0, 11.0])
    told: list[tuple[str, int, int]] = []
    progress = Progress(lambda *said: told.append(said), clock=lambda: next(clock))
    progress.expect(4)
    progress.stage("packing harder", 2)
    progress.piece()
    assert progress.seconds() == 5
    progress.stage("package")
    progress.stage("packing harder", 2)
    progress.piece()
    assert progress.seconds() == 9, "7 s before, and 2 s since it came again"
    assert told == [
        ("packing harder", 0, 2),
        ("packing harder", 1, 2),
        ("package", 0, 4),
        ("packing harder", 0, 2),
        ("packing harder", 1, 2),
    ]


def test_it_raises_between_frames_once_the_work_is_to_stop() -> None:
    stopping = iter([False, True, True])
    progress = Progress(stop=lambda: next(stopping))
    progress.stage("frames")
    progress.frame()
    with pytest.raises(Stopped):
        progress.frame()
    with pytest.raises(Stopped):
        progress.check()
