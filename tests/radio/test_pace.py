"""The least rate that finishes in time, and what to leave out where none does."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from keyturn.radio.boot import BootModel
from keyturn.radio.pace import alternatives, choose_fps, kept_frames, thin
from keyturn.radio.timeline import Pacing, PlayedPart, Timeline
from samples import examples

TALL = BootModel.of([], 16, 19, 21)
HOLD = PlayedPart("p", 0, 0, 1)
SHARE = st.floats(0.05, 1)
BOOTS = st.lists(st.floats(5, 40), min_size=2, max_size=12).map(lambda samples: BootModel.of(samples, 1, 2, 3))
ONCE = st.builds(
    PlayedPart, type=st.just("p"), count=st.integers(1, 3), pause=st.integers(0, 20), frames=st.integers(1, 200)
)
PARTS = st.lists(ONCE, min_size=1, max_size=3).map(lambda parts: (*parts, HOLD))


def old_player(fps: int) -> Pacing:
    return Pacing(fps, "additive", 0.018)


def once_s(parts: tuple[PlayedPart, ...], pacing: Pacing) -> float:
    return Timeline(parts, pacing, 20).once_only_end_s


def test_the_least_rate_by_hand() -> None:
    # arithmetic: 240 frames at 1/fps + 18 ms must end by the 5 % quantile of the boot. Triangular (16, 19, 21):
    # 16 + sqrt(0.05 * 5 * 3) = 16.866 s, so 1/fps <= 52.3 ms: 19.1 fps, the next whole rate is 20.
    def parts(fps: int) -> tuple[PlayedPart, ...]:
        return PlayedPart("p", 1, 0, 240), HOLD

    assert choose_fps(parts, old_player, TALL, 0.95, 1, 30) == 20
    rows = alternatives(parts, old_player, TALL, 20, 1, 30)
    assert [row.fps for row in rows] == [17, 18, 19, 20, 21, 22, 23]
    assert rows[3].once_only_s == pytest.approx(240 * 0.068)
    assert rows[2].share_finished < 0.95 <= rows[3].share_finished == TALL.share_finished(rows[3].once_only_s)
    assert rows[3].hold_usual_s == pytest.approx(19 - 240 * 0.068)


def test_alternatives_stay_within_the_limits() -> None:
    rows = alternatives(lambda fps: (HOLD,), old_player, TALL, 5, 4, 6)
    assert [row.fps for row in rows] == [4, 5, 6]
    assert {(row.once_only_s, row.share_finished, row.hold_usual_s) for row in rows} == {(0.0, 1.0, 19.0)}


@settings(max_examples=150, deadline=None)
@given(PARTS, BOOTS, SHARE, st.integers(1, 20), st.integers(0, 20))
def test_no_lower_rate_would_do(
    parts: tuple[PlayedPart, ...], boot: BootModel, finish: float, low: int, more: int
) -> None:
    chosen = choose_fps(lambda fps: parts, old_player, boot, finish, low, low + more)
    samples = np.array(boot.samples)  # the share of starts, by counting
    shares = {fps: np.mean(samples >= once_s(parts, old_player(fps))) for fps in range(low, low + more + 1)}
    enough = [fps for fps, share in shares.items() if share >= finish]
    assert chosen == (enough[0] if enough else low + more)
    for row in alternatives(lambda fps: parts, old_player, boot, chosen, low, low + more):
        assert row.share_finished == pytest.approx(shares[row.fps])


def test_a_pause_meant_in_seconds_is_counted_at_each_rate() -> None:
    def parts(fps: int) -> tuple[PlayedPart, ...]:
        return PlayedPart("p", 1, 2 * fps, 100), PlayedPart("p", 1, 0, 50), HOLD

    def pacing(fps: int) -> Pacing:
        return Pacing(fps, "fixed-beat")

    assert choose_fps(parts, pacing, TALL, 1.0, 1, 30) == 11  # arithmetic: 150/fps + 2 <= 16, so at least 10.71
    assert alternatives(parts, pacing, TALL, 11, 1, 30)[3].once_only_s == pytest.approx(
        150 / 11 + 2, abs=22e-6
    )  # slept in whole microseconds


@pytest.mark.parametrize(("wanted", "given_back"), [(15, 15), (60, 30), (2, 5)])
def test_a_loop_alone_takes_the_default_rate_within_the_limits(wanted: int, given_back: int) -> None:
    def loop(fps: int) -> tuple[PlayedPart, ...]:
        return (PlayedPart("p", 0, 0, 40),)

    assert choose_fps(loop, old_player, TALL, 0.95, 5, 30, default_fps=wanted) == given_back
    assert {row.share_finished for row in alternatives(loop, old_player, TALL, given_back, 5, 30)} == {1.0}


def test_limits_out_of_order_are_an_error() -> None:
    with pytest.raises(ValueError, match="order"):
        choose_fps(lambda fps: (HOLD,), old_player, TALL, 0.95, 20, 10)


# -- thinning ----------------------------------------------------------------------------------------


@settings(max_examples=examples(500), deadline=None)
@given(st.integers(2, 400), st.data())
def test_thinning_is_even_and_keeps_the_first_and_last(frames: int, data: st.DataObject) -> None:
    keep = data.draw(st.integers(2, frames))
    kept = thin(frames, keep)
    assert len(kept) == keep and kept[0] == 0 and kept[-1] == frames - 1
    gaps = set(np.diff(kept).tolist())
    assert min(gaps) >= 1 and max(gaps) - min(gaps) <= 1
    even = [Fraction(i * (frames - 1), keep - 1) for i in range(keep)]
    assert all(abs(index - exact) <= Fraction(1, 2) for index, exact in zip(kept, even, strict=True))


@pytest.mark.parametrize(("frames", "keep"), [(10, 1), (10, 11), (0, 0), (1, 2), (10, 0)])
def test_what_cannot_be_kept_is_an_error(frames: int, keep: int) -> None:
    with pytest.raises(ValueError, match="cannot keep"):
        thin(frames, keep)


def test_a_single_frame_stays() -> None:
    assert thin(1, 1) == (0,)


def test_kept_frames_by_hand() -> None:
    # arithmetic: at 30 fps + 18 ms a frame takes 51.333 ms; every boot lasts 16 s or more: 311 frames fit
    parts = (PlayedPart("p", 1, 0, 400), HOLD)
    assert kept_frames(parts, old_player(30), TALL, 1.0) == (311, 1)
    assert kept_frames((PlayedPart("p", 1, 0, 311), HOLD), old_player(30), TALL, 1.0) == (311, 1)


@settings(max_examples=200, deadline=None)
@given(PARTS, BOOTS, SHARE, st.integers(4, 30))
def test_thinned_parts_finish_and_one_frame_more_would_not(
    parts: tuple[PlayedPart, ...], boot: BootModel, finish: float, fps: int
) -> None:
    pacing = old_player(fps)
    kept = kept_frames(parts, pacing, boot, finish)
    assume(kept is not None)
    assert kept is not None
    thinned = tuple(PlayedPart(p.type, p.count, p.pause, n) for p, n in zip(parts, kept, strict=True))
    assert boot.share_finished(once_s(thinned, pacing)) >= finish
    assert kept[-1] == HOLD.frames
    assert all(min(2, p.frames) <= n <= p.frames for p, n in zip(parts, kept, strict=True))
    longest = max(range(len(parts) - 1), key=lambda i: parts[i].frames)
    if kept[longest] < parts[longest].frames:
        more = kept[longest] + 1
        fuller = tuple(
            PlayedPart(p.type, p.count, p.pause, min(p.frames, max(2, p.frames * more // parts[longest].frames)))
            for p in parts[:-1]
        )
        assert boot.share_finished(once_s((*fuller, HOLD), pacing)) < finish


def test_where_pauses_alone_take_too_long_no_thinning_helps() -> None:
    parts = (PlayedPart("p", 2, 300, 50), HOLD)  # a pause of 20 s between the two plays at 15 fps
    assert kept_frames(parts, old_player(15), TALL, 0.5) is None
