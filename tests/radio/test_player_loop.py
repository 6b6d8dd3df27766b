"""The closed form of the player's loop against the loop itself, in whole nanoseconds."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.radio.player_loop import PartRun, Span, play
from keyturn.radio.timeline import PlayedPart
from radio.reference_player import ReferencePlayer
from samples import examples

PARTS = st.lists(
    st.builds(
        PlayedPart,
        type=st.sampled_from(["p", "c", "f"]),
        count=st.integers(0, 4),
        pause=st.just(0),
        frames=st.integers(1, 7),
    ),
    min_size=1,
    max_size=5,
)


@st.composite
def shows(draw: Any) -> tuple[list[PlayedPart], int, list[int], int]:
    """Parts, a beat, pauses and the end of the boot, in a clock so coarse that boots often end exactly on a beat."""
    parts = draw(PARTS)
    beat = draw(st.integers(1, 4))
    pauses = draw(st.lists(st.integers(0, 9), min_size=len(parts), max_size=len(parts)))
    return parts, beat, pauses, draw(st.integers(0, 200))


@settings(max_examples=examples(2000), deadline=None)
@given(shows())
def test_runs_hold_the_plays_of_the_loop(show: tuple[list[PlayedPart], int, list[int], int]) -> None:
    parts, beat, pauses, boot = show
    player = ReferencePlayer(parts, beat, pauses, boot)
    walked = [(part, Span(*rest)) for part, *rest in player.show()]
    runs = play(parts, beat, pauses, boot)
    assert [(run.part, span) for run in runs for span in run.spans()] == walked
    assert [run.start for run in runs] == [player.began[run.part] for run in runs]
    assert runs[-1].end == player.clock


@settings(max_examples=examples(500), deadline=None)
@given(shows())
def test_what_is_shown_at_each_moment_is_the_span_that_holds_it(
    show: tuple[list[PlayedPart], int, list[int], int],
) -> None:
    for run in play(*show):
        spans = list(run.spans())
        assert [run.at(moment) for moment in range(run.start, run.end)] == [
            span for span in spans for _ in range(span.start, span.end)
        ]


def test_a_run_by_hand() -> None:
    # two whole plays of 3 beats of 10 and a pause of 5, then one frame of a third play and its pause
    run = PartRun(part=4, start=100, full=2, cut=1, frames=3, beat=10, pause=5)
    assert (run.play_length, run.end) == (35, 100 + 2 * 35 + 10 + 5)
    assert run.at(134) == Span(play=0, frame=2, start=130, end=135, pausing=True)
    assert run.at(170) == Span(play=2, frame=0, start=170, end=180, pausing=False)
    assert len(list(run.spans())) == 4 + 4 + 2


def test_a_million_plays_cost_one_run() -> None:
    (run,) = play([PlayedPart("p", 0, 0, 12)], 10, [0], 120_000_000)
    assert (run.full, run.cut) == (1_000_000, 0)
