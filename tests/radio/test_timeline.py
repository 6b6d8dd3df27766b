"""The closed-form timeline against the reference player's loop, walked frame by frame."""

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from keyturn.radio.timeline import OnScreenAtCut, Pacing, PlayedPart, ShownPicture, Timeline
from radio.literal_loop import LiteralLoop
from samples import examples

SECOND = 10**9


def walked(timeline: Timeline) -> tuple[list[ShownPicture], LiteralLoop]:
    """What the loop shows, in seconds from the first picture's appearance. A picture stays until the next one."""
    pacing = timeline.pacing
    pauses = [pacing.pause_ns(p.pause) for p in timeline.parts]
    rhythm = pacing.rhythm
    player = LiteralLoop(timeline.parts, rhythm, pauses, round(timeline.boot_s * SECOND) + rhythm.first_work)
    pictures = player.walk()
    ends = [*(appears for *_, appears in pictures[1:]), player.clock]
    shown = []
    for (part, play, frame, start), end in zip(pictures, ends, strict=True):
        work, beat = (rhythm.work, rhythm.beat) if play else (rhythm.first_work, rhythm.first_beat)
        rests = min(start - work + beat, end) if (part, play, frame) in player.rested else end
        for a, b, pausing in ((start, rests, False), (rests, end, True)):
            if a < b:
                a_s, b_s = (a - rhythm.first_work) / SECOND, (b - rhythm.first_work) / SECOND
                shown.append(ShownPicture(part, play, frame, a_s, b_s, pausing))
    assume(shown)  # a picture that is gone as soon as it appears is none
    return shown, player


def part_strategy() -> st.SearchStrategy[PlayedPart]:
    return st.builds(
        PlayedPart,
        type=st.sampled_from(["p", "c", "f"]),
        count=st.integers(0, 4),
        pause=st.integers(0, 5),
        frames=st.integers(1, 7),
    )


@st.composite
def pacings(draw: Any) -> Pacing:
    """Players of all generations."""
    cost_s = draw(st.sampled_from([0.0, 0.004, 0.0181, 0.2]))
    killed = draw(st.booleans())
    return Pacing(
        fps=draw(st.integers(1, 60)),
        mode=draw(st.sampled_from(["additive", "fixed-beat"])),
        cost_s=cost_s,
        pause_unit=draw(st.sampled_from(["frames", "seconds"])),
        later_cost_s=draw(st.sampled_from([None, 0.0, cost_s / 3, cost_s])),
        killed=killed,
        pause_check_ms=0 if killed else draw(st.sampled_from([0, 50])),
    )


@st.composite
def timelines(draw: Any) -> Timeline:
    """Boots that end at any nanosecond and, as often, exactly on a beat, where indices go wrong first."""
    parts = tuple(draw(st.lists(part_strategy(), min_size=1, max_size=5)))
    pacing = draw(pacings())
    beats = draw(st.integers(0, 150))
    beat = pacing.rhythm.first_beat
    offset = draw(st.sampled_from([0, 0, 1, -1]) | st.integers(0, beat))
    parts = tuple(part if not pacing.killed else replace(part, type="p") for part in parts)
    return Timeline(parts, pacing, max(int(pacing.killed), beats * beat + offset) / SECOND)


@settings(max_examples=examples(2000), deadline=None)
@given(timelines())
def test_every_picture_is_the_one_the_reference_loop_shows(timeline: Timeline) -> None:
    shown, _ = walked(timeline)
    assert list(timeline.shown()) == shown
    assert timeline.end_s == shown[-1].end_s


@settings(max_examples=examples(700), deadline=None)
@given(timelines(), st.data())
def test_the_picture_at_any_moment_is_the_one_the_reference_loop_shows(timeline: Timeline, data: Any) -> None:
    shown, _ = walked(timeline)
    seen = [picture for picture in shown if picture.end_s - picture.start_s > 10 / SECOND]  # a float holds its middle
    assume(seen)
    for picture in data.draw(st.lists(st.sampled_from(seen), min_size=1, max_size=8)):
        assert timeline.at(picture.start_s) == picture
        assert timeline.at((picture.start_s + picture.end_s) / 2) == picture
        assert timeline.at(picture.end_s - 1 / SECOND) == picture
    assert timeline.at(shown[-1].end_s) is None
    assert timeline.at(-0.001) is None


@settings(max_examples=examples(700), deadline=None)
@given(timelines())
def test_the_delay_is_that_of_the_reference_loop(timeline: Timeline) -> None:
    _, player = walked(timeline)
    boot = round(timeline.boot_s * SECOND) + timeline.pacing.rhythm.first_work
    assert timeline.delay_s == max(0, player.clock - boot) / SECOND
    if timeline.pacing.killed:
        assert timeline.delay_s == 0
    if all(part.type != "c" for part in timeline.parts):  # then at most the beat and the pause are played to their end
        pauses = [timeline.pacing.pause_s(part.pause) for part in timeline.parts]
        assert timeline.delay_s <= 2 * timeline.pacing.interval_s + 2 * max(pauses)


@settings(max_examples=examples(700), deadline=None)
@given(timelines())
def test_the_cut_is_the_last_picture_begun_when_the_boot_ends(timeline: Timeline) -> None:
    shown, _ = walked(timeline)
    boot = timeline.boot_s
    on_screen = [s for s in shown if round(s.start_s * SECOND) <= round(boot * SECOND)][-1]
    cut = timeline.cut
    assert (cut.part, cut.play, cut.frame) == (on_screen.part, on_screen.play, on_screen.frame)
    assert (timeline.end_s < boot) == (shown[-1].end_s < boot)
    part = timeline.parts[cut.part]
    beats = [picture[:3] for picture in every_picture(timeline)]
    moves_on = any(b[0] == cut.part and b > (cut.part, cut.play, cut.frame) for b in beats)
    assert cut.mid_motion == (part.type != "c" and part.count > 0 and moves_on)


def every_picture(timeline: Timeline) -> list[tuple[int, int, int, int]]:
    """The once-only parts as they would play if the boot never ended, by the reference loop."""
    endless = [i for i, part in enumerate(timeline.parts) if part.count == 0]
    once = timeline.parts[: endless[0]] if endless else timeline.parts
    return walked(Timeline(once, timeline.pacing, 10**6))[1].pictures if once else []


@settings(max_examples=examples(500), deadline=None)
@given(timelines())
def test_once_only_parts_end_when_the_picture_after_them_appears(timeline: Timeline) -> None:
    once = timeline.parts[: next((i for i, part in enumerate(timeline.parts) if part.count == 0), None)]
    held, _ = walked(Timeline((*once, PlayedPart("p", 1, 0, 2)), timeline.pacing, 10**6))
    begins = next(s.start_s for s in held if s.part == len(once))
    rest_s = timeline.pacing.pause_s(once[-1].pause) if once else 0.0
    assert timeline.once_only_end_s == pytest.approx(begins - rest_s, abs=1e-9)


@settings(max_examples=examples(500), deadline=None)
@given(timelines())
def test_an_endless_part_begins_when_the_once_only_parts_and_their_last_pause_are_over(timeline: Timeline) -> None:
    _, player = walked(timeline)
    endless = next((i for i, part in enumerate(timeline.parts) if part.count == 0), None)
    begins = [s.start_s for s in timeline.shown() if s.part == endless]
    assert begins[:1] == ([player.began[endless] / SECOND] if endless in player.began else [])
    if endless and begins and player.began[endless] < round(timeline.boot_s * SECOND):
        pause_s = timeline.pacing.pause_s(timeline.parts[endless - 1].pause)
        assert begins[0] == pytest.approx(timeline.once_only_end_s + pause_s, abs=1e-9)


# -- the trade's rules -------------------------------------------------------------------------------

ROWS = (PlayedPart("p", 1, 10, 40), PlayedPart("p", 3, 0, 20), PlayedPart("p", 0, 0, 12))


@pytest.mark.parametrize("fps", [1, 4, 12, 15, 24, 30])
def test_twice_the_rate_and_twice_the_plays_take_the_same_time(fps: int) -> None:
    # arithmetic, as FORMAT's trade rule says; 4.0 sleeps whole microseconds, so a frame loses up to one
    once = Timeline((PlayedPart("p", 5, 0, 30), ROWS[2]), Pacing(fps, "additive"), 60)
    twice = Timeline((PlayedPart("p", 10, 0, 30), ROWS[2]), Pacing(2 * fps, "additive"), 60)
    assert twice.once_only_end_s == pytest.approx(once.once_only_end_s, abs=5 * 60e-6)
    assert once.once_only_end_s == pytest.approx(5 * 30 / fps, abs=150e-6)


@pytest.mark.parametrize("boot_s", [16.0, 17.5, 19.0, 21.0])
def test_a_short_animation_and_a_hold_are_at_rest_however_the_boot_varies(boot_s: float) -> None:
    # boots of one radio vary by 1 to 5 s; play once well inside the shortest, then hold: common practice, no source
    parts = (PlayedPart("p", 1, 0, 15 * 15), PlayedPart("p", 0, 0, 1))
    timeline = Timeline(parts, Pacing(15, "additive"), boot_s)
    cut = timeline.cut
    assert (cut.part, cut.frame, cut.mid_motion) == (1, 0, False)
    assert timeline.once_only_end_s == pytest.approx(15.0, abs=225e-6) and timeline.once_only_end_s <= boot_s
    assert timeline.delay_s <= timeline.pacing.interval_s


def test_a_count_of_0_never_ends_before_the_boot() -> None:
    # common practice, no source: 0 repeats until the radio has booted
    for boot_s in (1.0, 60.0, 86_400.0):
        timeline = Timeline((PlayedPart("p", 0, 0, 12),), Pacing(12, "additive"), boot_s)
        assert boot_s <= timeline.end_s <= boot_s + timeline.pacing.interval_s


def test_an_endless_loop_is_stopped_within_a_frame_but_an_endless_c_plays_to_its_end() -> None:
    pacing = Pacing(10, "fixed-beat")
    assert Timeline((PlayedPart("p", 0, 0, 50),), pacing, 12.04).end_s == pytest.approx(12.1)
    assert Timeline((PlayedPart("c", 0, 0, 50),), pacing, 12.04).end_s == pytest.approx(15.0)


def test_parts_that_must_finish_delay_the_home_screen_by_what_is_left_of_them() -> None:
    # AOSP format description: c plays to completion, "no matter what", parts not yet begun included
    parts = (PlayedPart("p", 0, 0, 10), PlayedPart("p", 2, 0, 30), PlayedPart("c", 2, 5, 10))
    timeline = Timeline(parts, Pacing(10, "fixed-beat"), 7.03)
    assert {picture.part for picture in timeline.shown()} == {0, 2}
    assert timeline.delay_s == pytest.approx(0.07 + 3.0)  # the rest of the beat, then two plays with pauses
    running = Timeline((PlayedPart("c", 3, 0, 20),), Pacing(10, "fixed-beat"), 1.0)
    assert running.delay_s == pytest.approx(5.0)


def test_a_boot_that_ends_in_a_pause_is_noticed_after_the_frame_that_follows_it() -> None:
    timeline = Timeline((PlayedPart("p", 0, 20, 10),), Pacing(10, "fixed-beat"), 1.5)  # plays of 1 s, pauses of 2 s
    assert timeline.end_s == pytest.approx(3.0 + 0.1 + 2.0)  # the pause, a frame, and the pause after its play


def test_without_a_hold_the_screen_goes_blank_before_the_boot() -> None:
    timeline = Timeline((PlayedPart("p", 2, 0, 10),), Pacing(10, "fixed-beat"), 9.0)
    assert timeline.cut == OnScreenAtCut(0, 1, 9, mid_motion=False)
    assert (timeline.end_s, timeline.delay_s, timeline.once_only_end_s) == (2.0, 0.0, 2.0)
    assert timeline.at(5.0) is None


# -- pacing ------------------------------------------------------------------------------------------


def test_first_generation_players_add_the_cost_and_later_ones_hide_it() -> None:
    # AOSP, as FORMAT says: 1/fps plus decode and draw; or max(1/fps, decode and draw)
    assert Pacing(20, "additive", 0.018).interval_s == pytest.approx(0.068)
    assert Pacing(20, "fixed-beat", 0.018).interval_s == pytest.approx(0.05)
    assert Pacing(20, "fixed-beat", 0.07).interval_s == pytest.approx(0.07)


def test_pauses_are_counted_in_frames_or_seconds_and_cost_no_drawing() -> None:
    assert Pacing(20, "additive", 0.018).pause_s(30) == pytest.approx(1.5)
    assert Pacing(20, "additive", 0.018, "seconds").pause_s(3) == pytest.approx(3.0)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Pacing(0, "additive"),
        lambda: Pacing(10, "additive", -0.1),
        lambda: PlayedPart("p", 1, 0, -1),
        lambda: PlayedPart("p", -1, 0, 5),
        lambda: PlayedPart("p", 1, -1, 5),
        lambda: Timeline((), Pacing(10, "additive"), 5),
        lambda: Timeline(ROWS, Pacing(10, "additive"), float("inf")),
        lambda: Timeline(ROWS, Pacing(10, "additive"), -1),
    ],
)
def test_what_no_player_can_play_is_an_error(make: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"must|needs|cannot be below"):
        make()


# -- cost --------------------------------------------------------------------------------------------


def steps(work: Callable[[], object]) -> int:
    """Count the lines of Keyturn that `work` runs. What the garbage collector runs meanwhile is left out."""
    count = 0

    def tracer(frame: Any, event: str, arg: Any) -> Any:
        nonlocal count
        count += event == "line" and "/keyturn/" in frame.f_code.co_filename
        return tracer

    before = sys.gettrace()
    sys.settrace(tracer)
    try:
        work()
    finally:
        sys.settrace(before)
    return count


def test_a_boot_of_a_day_takes_no_more_steps_than_a_short_one() -> None:
    def everything(boot_s: float) -> Callable[[], object]:
        timeline = Timeline(ROWS, Pacing(15, "additive", 0.018), boot_s)
        ask = [lambda: timeline.at(boot_s - 0.01), lambda: timeline.cut, lambda: timeline.end_s]
        ask += [lambda: timeline.delay_s, lambda: timeline.once_only_end_s, lambda: next(timeline.shown())]
        return lambda: [question() for question in ask]

    short, day = steps(everything(21.0)), steps(everything(86_400.0))
    assert 0 < day <= short
    cut = Timeline(ROWS, Pacing(15, "additive", 0.018), 86_400.0).cut
    assert cut.part == 2 and cut.play > 80_000


def test_shown_stops_at_the_moment_asked_for() -> None:
    timeline = Timeline(ROWS, Pacing(10, "fixed-beat"), 86_400.0)
    pictures = list(timeline.shown(until_s=1.0))
    assert [p.frame for p in pictures] == list(range(10))


def test_a_part_that_is_never_left_is_shown() -> None:
    """14: a c part after a fade plays for ever, also where its work takes the whole of a frame's time."""
    parts = (PlayedPart("f", 0, 0, 1, fade=1), PlayedPart("c", 1, 0, 1))
    pacing = Pacing(5, "fixed-beat", 0.29, later_cost_s=0.04, pause_check_ms=50)
    timeline = Timeline(parts, pacing, 0.001)
    assert not timeline.lets_go
    assert {picture.part for picture in timeline.shown()} == {0, 1}
