"""How long each stage took, by a clock that the test holds."""

from __future__ import annotations

from keyturn.service.stage_times import Laps


def test_stages_are_timed_from_one_to_the_next_and_told_onward() -> None:
    clock = iter([10.0, 10.0, 10.5, 12.5, 12.75, 12.75])
    heard: list[tuple[str, int, int]] = []
    laps = Laps(lambda *said: heard.append(said), lambda: next(clock))
    for said in (("reading", 0, 0), ("frames", 0, 2), ("frames", 1, 2), ("frames", 2, 2), ("publish", 0, 1)):
        laps(*said)
    assert laps.end() == "2.750 s: reading 0.500, frames 2.000, publish 0.250"
    assert heard[2:4] == [("frames", 1, 2), ("frames", 2, 2)]


def test_a_stage_that_comes_again_adds_to_its_time() -> None:
    clock = iter([0.0, 0.0, 1.0, 3.0, 6.0, 6.0])
    laps = Laps(lambda *said: None, lambda: next(clock))
    for stage in ("frames", "judge", "frames"):
        laps(stage, 0, 1)
    assert laps.end() == "6.000 s: frames 4.000, judge 2.000"
