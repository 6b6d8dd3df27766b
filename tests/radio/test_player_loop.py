"""The closed form of the player's loop against the loop itself, in whole nanoseconds."""

from __future__ import annotations

from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from keyturn.radio.player_loop import Course, Rhythm, play
from keyturn.radio.timeline import PlayedPart
from radio.literal_loop import LiteralLoop
from samples import examples

Show = tuple[list[PlayedPart], Rhythm, list[int], int]


@st.composite
def parts(draw: Any) -> PlayedPart:
    kind = draw(st.sampled_from(["p", "c", "f"]))
    fade = draw(st.integers(0, 9)) if kind == "f" else 0
    return PlayedPart(kind, draw(st.integers(0, 4)), 0, draw(st.integers(1, 7)), fade)


@st.composite
def rhythms(draw: Any) -> Rhythm:
    """Players of all generations, in a clock so coarse that boots often end exactly on a beat."""
    work = draw(st.integers(0, 2))
    first_work = work + draw(st.integers(0, 3))
    beat = max(draw(st.integers(1, 4)), work)
    return Rhythm(
        first_beat=max(beat, first_work) + draw(st.integers(0, 1)),
        beat=beat,
        first_work=first_work,
        work=work,
        pause_check=draw(st.sampled_from([0, 0, 1, 2, 3])),
        killed=draw(st.booleans()),
    )


@st.composite
def shows(draw: Any) -> Show:
    """Parts, a rhythm, pauses and the end of the boot."""
    played = draw(st.lists(parts(), min_size=1, max_size=5))
    pauses = draw(st.lists(st.integers(0, 9), min_size=len(played), max_size=len(played)))
    rhythm = draw(rhythms())
    if rhythm.killed:  # the player that is killed neither asks nor fades
        rhythm = Rhythm(rhythm.first_beat, rhythm.beat, rhythm.first_work, rhythm.work, 0, True)
        played = [PlayedPart("p", part.count, 0, part.frames) for part in played]
    # no player that fades sleeps unbroken
    assume(rhythm.pause_check or all(part.fade == 0 for part in played))
    # a c part after a fade is never left: the loop would not end
    kinds = [part.type if part.fade or part.type == "c" else "p" for part in played]
    assume("f" not in kinds or "c" not in kinds[kinds.index("f") :])
    return played, rhythm, pauses, draw(st.integers(0, 200))


def pictures(course: Course) -> list[tuple[int, int, int, int]]:
    """Part, play, frame and the nanosecond at which each picture of a course appears."""
    return [
        (s.part, s.play + p, s.frame + f, s.start + p * s.play_length + f * s.beat + s.work)
        for s in course.stretches
        for p in range(s.plays)
        for f in range(s.frames)
    ]


@settings(max_examples=examples(3000), deadline=None)
@given(shows())
def test_the_course_holds_the_pictures_of_the_loop(show: Show) -> None:
    player = LiteralLoop(*show)
    walked = player.walk()
    course = play(*show)
    shown = pictures(course)
    if show[1].killed:
        shown = [picture for picture in shown if picture[-1] < show[3]]
    assert shown == walked
    assert course.end == player.clock
    assert not course.endless
    assert (course.asked is not None) == player.exit_pending


def test_a_long_boot_costs_no_more_than_a_short_one() -> None:
    """A closed form: an endless part is one stretch for its first play, one for the rest, one for the cut play."""
    rhythm = Rhythm(10, 10, 0, 0)
    course = play([PlayedPart("p", 0, 0, 3)], rhythm, [5], 10**15)
    assert len(course.stretches) == 3


def test_an_endless_part_without_frames_is_never_left() -> None:
    """4.4, 10 and 14: only after a frame is the exit property read. In 14 a pause of more than a step reads it too."""
    empty = [PlayedPart("p", 0, 0, 0)]
    assert play(empty, Rhythm(10, 10, 1, 1), [0], 100).endless
    assert play(empty, Rhythm(10, 10, 1, 1), [50], 100).endless
    assert play(empty, Rhythm(10, 10, 1, 1, pause_check=50), [50], 100).endless
    assert not play(empty, Rhythm(10, 10, 1, 1, pause_check=50), [51], 100).endless
    assert not play(empty, Rhythm(10, 10, 1, 1, killed=True), [0], 100).endless
    reached_too_late = [PlayedPart("p", 1, 0, 20), *empty]
    assert not play(reached_too_late, Rhythm(10, 10, 1, 1), [0, 0], 100).endless


def test_a_c_part_after_a_fade_is_never_left() -> None:
    """14: the loop over plays goes on while frames have faded, and a c part does not stop for the end of the boot."""
    parts = [PlayedPart("f", 0, 0, 4, fade=2), PlayedPart("c", 1, 0, 3)]
    assert play(parts, Rhythm(10, 10, 1, 1, pause_check=50), [0, 0], 100).endless
