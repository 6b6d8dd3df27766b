"""Graphics memory: what repeats is kept whole, and each player generation keeps it in its own way.

The figures follow Android Open Source Project, frameworks/base, cmds/bootanimation, versions 4.0, 4.4, 10 and 14.
"""

from __future__ import annotations

import math
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.radio.memory import Texture, finding, held, peak_mib, texture_bytes
from keyturn.radio.timeline import PlayedPart
from keyturn.shop import rulebook
from keyturn.shop.player_facts import Generation, of_generation
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind
from keyturn.shop.units import MIB
from samples import with_player

TALL = (768, 1024)
WIDE = (1280, 720)
GENERATIONS: tuple[Generation, ...] = get_args(Generation)


def radio(texture_mib: float, generation: Generation = "second", **facts: object) -> Radio:
    shipped = rulebook.load().radios["tall-768x1024"]
    limited = shipped.model_copy(update={"limits": shipped.limits.model_copy(update={"texture_mib": texture_mib})})
    return with_player(limited, generation=generation, **facts)


@pytest.mark.parametrize(("generation", "mib"), [("first", 96), ("second", 192), ("third", 144), ("fourth", 144)])
def test_48_tall_frames_that_repeat_hold_what_the_format_notes_say(generation: Generation, mib: float) -> None:
    """4.0: 1024 x 1024 x 2 bytes; 4.4: x 4 bytes; 10 and 14 with the npot extension: 768 x 1024 x 4 bytes."""
    assert held([PlayedPart("p", 0, 0, 48)], TALL, of_generation(generation)).peak == mib * MIB


@pytest.mark.parametrize(("generation", "pictures"), [("first", 2), ("second", 2), ("third", 2), ("fourth", 151)])
def test_frames_shown_once_are_all_kept_by_the_fourth_alone(generation: Generation, pictures: int) -> None:
    """150 frames of 1280 x 720 and the picture that holds: 531 MiB on 14. Before, one texture is reused; it stays while
    the picture that holds has a texture of its own."""
    facts = of_generation(generation)
    parts = [PlayedPart("p", 1, 0, 150), PlayedPart("p", 0, 0, 1)]
    assert held(parts, WIDE, facts).peak == pictures * texture_bytes(Texture(*WIDE), facts)
    if generation == "fourth":
        assert round(held(parts, WIDE, facts).peak / MIB) == 531


@pytest.mark.parametrize(("generation", "frames"), [("first", 20), ("second", 20), ("third", 30), ("fourth", 30)])
def test_repeating_parts_add_up_on_the_third_and_fourth(generation: Generation, frames: int) -> None:
    facts = of_generation(generation)
    parts = [PlayedPart("p", 2, 0, 10), PlayedPart("p", 0, 0, 20)]
    assert held(parts, TALL, facts).peak == frames * texture_bytes(Texture(*TALL), facts)


@settings(max_examples=300, deadline=None)
@given(st.integers(1, 5000), st.integers(1, 5000))
def test_sides_round_up_to_the_least_power_of_two(width: int, height: int) -> None:
    rounded = [2 ** math.ceil(math.log2(side)) for side in (width, height)]  # OpenGL ES 1.x, glTexImage2D
    assert texture_bytes(Texture(width, height), of_generation("second")) == rounded[0] * rounded[1] * 4
    assert texture_bytes(Texture(width, height), of_generation("first")) == rounded[0] * rounded[1] * 2
    assert texture_bytes(Texture(width, height, False), of_generation("first")) == rounded[0] * rounded[1] * 4
    assert texture_bytes(Texture(width, height), of_generation("third")) == width * height * 4


def test_a_part_that_is_never_reached_holds_nothing() -> None:
    endless, after = PlayedPart("p", 0, 0, 5), PlayedPart("p", 2, 0, 90)
    facts = of_generation("third")
    assert held([endless, after], TALL, facts).peak == held([endless], TALL, facts).peak


def test_a_loop_too_large_is_refused_with_the_length_that_fits() -> None:
    loop = (PlayedPart("p", 0, 0, 48),)
    reason = finding(radio(128), loop)
    assert reason is not None and (reason.code, reason.kind) == ("memory-exceeded", Kind.REFUSE)
    assert reason.what == "part 1: this loop holds 192 MiB, the radio allows 128 MiB"
    assert reason.mend == "shorten it to 32 frames, or play it once (smaller files or JPEG do not help)"
    assert finding(radio(128), (PlayedPart("p", 0, 0, 32),)) is None


def test_the_length_that_is_told_fits_beside_the_other_parts() -> None:
    once, loop = PlayedPart("p", 1, 0, 90), PlayedPart("p", 0, 0, 48)
    reason = finding(radio(128), (once, loop))
    assert reason is not None and "shorten it to 31 frames" in reason.mend
    assert finding(radio(128), (once, PlayedPart("p", 0, 0, 31))) is None
    assert finding(radio(128), (once, PlayedPart("p", 0, 0, 32))) is not None


def test_what_helps_is_told_by_the_player() -> None:
    """A part written twice reuses one texture until 11; 14 keeps each frame however often it plays."""
    twice = (PlayedPart("p", 2, 0, 48),)
    second, fourth = finding(radio(128), twice), finding(radio(128, "fourth"), twice)
    assert second is not None and "write it as 2 parts that play once" in second.mend
    assert fourth is not None and "play once" not in fourth.mend and "cropped away" in fourth.mend
    many = finding(radio(128, "fourth"), (PlayedPart("p", 1, 0, 150), PlayedPart("p", 0, 0, 1)))
    assert many is not None and many.what.startswith("the parts together hold")


def test_a_guessed_generation_is_judged_by_the_worst() -> None:
    parts = (PlayedPart("p", 1, 0, 100),)
    assert finding(radio(128, "third"), parts) is None
    guessed = radio(128, "third", may_be=["fourth"])
    assert finding(guessed, parts) is not None
    assert peak_mib(parts, TALL, guessed) == 300


def test_writing_a_part_twice_is_proposed_only_where_it_helps_on_every_player_the_radio_may_have() -> None:
    """Repeated, the part weighs the same on the third and the fourth; written twice, it would be refused on the
    fourth."""
    twice = (PlayedPart("p", 2, 0, 48),)
    sure, guessed = finding(radio(128, "third"), twice), finding(radio(128, "third", may_be=["fourth"]), twice)
    assert sure is not None and "write it as 2 parts that play once" in sure.mend
    assert guessed is not None and "play once" not in guessed.mend


def test_a_loop_of_exactly_the_limit_passes() -> None:
    assert finding(radio(192), (PlayedPart("p", 0, 0, 48),)) is None
    assert finding(radio(191.9), (PlayedPart("p", 0, 0, 48),)) is not None


def test_one_picture_too_large_is_the_profile_s_fault() -> None:
    reason = finding(radio(3), (PlayedPart("p", 1, 0, 90),))
    assert reason is not None and "texture_mib" in reason.mend


@pytest.mark.parametrize("name", sorted(rulebook.load().radios))
def test_every_radio_that_ships_can_hold_a_still(name: str) -> None:
    assert finding(rulebook.load().radios[name], (PlayedPart("p", 0, 0, 1),)) is None


class Graphics:
    """Graphics memory that counts textures as they are made, filled and freed. Number 0 is always there."""

    def __init__(self) -> None:
        self.textures: dict[int, int] = {0: 0}
        self.peak = 0

    def fill(self, number: int, size: int) -> None:
        self.textures[number] = size
        self.peak = max(self.peak, sum(self.textures.values()))


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 3), st.lists(st.integers(1, 60), min_size=1, max_size=5)), min_size=1),
    st.sampled_from(GENERATIONS),
)
def test_the_peak_is_that_of_counting_textures(parts: list[tuple[int, list[int]]], generation: Generation) -> None:
    """The calls of the published players: a texture a frame where a part repeats (in 14 always), else number 0."""
    facts = of_generation(generation)
    graphics, made = Graphics(), 0
    for count, heights in parts:
        mine = []
        for height in heights:
            keeps = count != 1 or generation == "fourth"
            made += keeps
            mine.append(made if keeps else 0)
            graphics.fill(mine[-1], texture_bytes(Texture(40, height), facts))
        if generation in ("first", "second") and count != 1:
            for number in mine:
                del graphics.textures[number]
        if count == 0:
            break
    played = [PlayedPart("p", count, 0, len(heights)) for count, heights in parts]
    frames = {i: [Texture(40, height) for height in heights] for i, (_, heights) in enumerate(parts)}
    assert held(played, (1, 1), facts, frames).peak == graphics.peak


def test_a_long_loop_fits_once_it_is_cropped_and_else_the_length_that_does_is_told() -> None:
    loop = (PlayedPart("p", 0, 0, 100),)
    assert finding(radio(128), loop) is not None
    assert finding(radio(128), loop, {0: [Texture(256, 256)] * 100}) is None  # 100 x 256 KiB = 25 MiB
    reason = finding(radio(10), loop, {0: [Texture(256, 256)] * 100})
    assert reason is not None and reason.mend.startswith("shorten it to 40 frames, or play it once")
