"""Graphics memory: what repeats is kept whole."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.radio.memory import finding, longest_loop, loop_mib, peak_mib, texture_bytes
from keyturn.radio.timeline import PlayedPart
from keyturn.shop import rulebook
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind

TALL = (768, 1024)


def radio(texture_mib: float) -> Radio:
    shipped = rulebook.load().radios["tall-768x1024"]
    return shipped.model_copy(update={"limits": shipped.limits.model_copy(update={"texture_mib": texture_mib})})


def test_48_tall_frames_hold_192_mib_on_the_old_player() -> None:
    # the example of the format notes, after AOSP: 1024 x 1024 x 4 bytes = 4 MiB a frame
    assert loop_mib(48, TALL, bytes_per_px=4, power_of_two=True) == 192
    assert loop_mib(48, TALL, bytes_per_px=2, power_of_two=True) == 96
    assert loop_mib(48, TALL, bytes_per_px=4, power_of_two=False) == 144


@settings(max_examples=300, deadline=None)
@given(st.integers(1, 5000), st.integers(1, 5000), st.sampled_from([2, 4]))
def test_sides_round_up_to_the_least_power_of_two(width: int, height: int, depth: int) -> None:
    rounded = [2 ** math.ceil(math.log2(side)) for side in (width, height)]  # OpenGL ES 1.x, glTexImage2D
    assert texture_bytes(width, height, bytes_per_px=depth, power_of_two=True) == rounded[0] * rounded[1] * depth
    assert texture_bytes(width, height, bytes_per_px=depth, power_of_two=False) == width * height * depth


def test_a_part_that_plays_once_reuses_one_texture() -> None:
    def peak(*parts: PlayedPart) -> float:
        return peak_mib(parts, TALL, bytes_per_px=4, power_of_two=True)

    assert peak(PlayedPart("p", 1, 0, 500)) == 4
    assert peak(PlayedPart("p", 0, 0, 48)) == 192
    assert peak(PlayedPart("p", 2, 0, 48)) == 192
    assert peak(PlayedPart("p", 1, 0, 500), PlayedPart("p", 3, 0, 10), PlayedPart("p", 0, 0, 48)) == 192


@settings(max_examples=200, deadline=None)
@given(st.floats(0, 2000), st.integers(16, 4096), st.integers(16, 4096), st.booleans())
def test_the_longest_loop_fits_and_one_frame_more_does_not(mib: float, width: int, height: int, rounded: bool) -> None:
    frames = longest_loop(mib, (width, height), bytes_per_px=4, power_of_two=rounded)
    assert loop_mib(frames, (width, height), bytes_per_px=4, power_of_two=rounded) <= mib
    assert loop_mib(frames + 1, (width, height), bytes_per_px=4, power_of_two=rounded) > mib


def test_a_loop_too_large_is_refused_with_the_length_that_fits() -> None:
    parts = (PlayedPart("p", 1, 0, 90), PlayedPart("p", 0, 0, 48))
    reason = finding(radio(128), parts)
    assert reason is not None and (reason.code, reason.kind) == ("memory-exceeded", Kind.REFUSE)
    assert reason.what == "part 2: this loop holds 192 MiB, the radio allows 128 MiB"
    assert reason.mend == "shorten it to 32 frames or play it once"
    assert finding(radio(128), (parts[0], PlayedPart("p", 0, 0, 32))) is None


def test_a_loop_of_exactly_the_limit_passes() -> None:
    assert finding(radio(192), (PlayedPart("p", 0, 0, 48),)) is None
    assert finding(radio(191.9), (PlayedPart("p", 0, 0, 48),)) is not None


def test_one_picture_too_large_is_the_profile_s_fault() -> None:
    reason = finding(radio(3), (PlayedPart("p", 1, 0, 90),))
    assert reason is not None and "texture_mib" in reason.mend


@pytest.mark.parametrize("name", sorted(rulebook.load().radios))
def test_every_radio_that_ships_can_hold_a_still(name: str) -> None:
    assert finding(rulebook.load().radios[name], (PlayedPart("p", 0, 0, 1),)) is None


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 768), st.integers(1, 1024)), min_size=1, max_size=9),
    st.integers(0, 3),
    st.booleans(),
)
def test_cropped_frames_hold_what_their_own_sizes_do(sizes: list[tuple[int, int]], count: int, rounded: bool) -> None:
    """A texture has the size of the decoded picture (AOSP), four bytes a pixel. Here they are added up one by one."""
    up = [[2 ** math.ceil(math.log2(side)) if rounded else side for side in size] for size in sizes]
    each = [4 * wide * high / 2**20 for wide, high in up]
    parts = (PlayedPart("p", 1, 0, 5), PlayedPart("p", count, 0, len(sizes)))
    peak = peak_mib(parts, (1, 1), bytes_per_px=4, power_of_two=rounded, cropped={1: sizes})
    assert peak == pytest.approx(max(max(each) if count == 1 else sum(each), 4 / 2**20))


def test_a_long_loop_fits_once_it_is_cropped_and_else_the_length_that_does_is_told() -> None:
    loop = (PlayedPart("p", 0, 0, 100),)
    assert finding(radio(128), loop) is not None
    assert finding(radio(128), loop, {0: [(256, 256)] * 100}) is None  # 100 x 256 KiB = 25 MiB
    reason = finding(radio(10), loop, {0: [(256, 256)] * 100})
    assert reason is not None and reason.mend == "shorten it to 40 frames or play it once"
