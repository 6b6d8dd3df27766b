"""Flashes as the radio will show them: logo, plays, pauses and loops; counts by WCAG 2.2 and technique G19."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from judge.plans import RULES, TALL, Part, plan_of
from keyturn.eye import luminance
from keyturn.eye.flash_check import Picture, flash_check
from keyturn.eye.luminance import FULL
from keyturn.eye.screen import Screen
from keyturn.judge.flash import PictureNumbers, flash_reasons, flash_record, players, shown
from keyturn.shop.radio_profile import Filmed, Radio
from keyturn.shop.reasons import Kind
from keyturn.shop.records import FlashRecord
from samples import with_player

FLASH = RULES.safety.flash
BLACK, WHITE = 0, 1


def cells(number: int) -> NDArray[np.uint16]:
    """Picture 0 is black and picture 1 is white, all over the panel."""
    shape = Screen.of(TALL.panel, FLASH).shape
    return np.full((*shape, 3), FULL * number, np.uint16)


WITHOUT_BLACK = with_player(TALL, black_first=False)
"""An additive player that goes from the logo to frame 1 at once."""


def judged(
    part: Part, frames: list[int], logo: int = BLACK, fps: int = 10, radio: Radio = WITHOUT_BLACK
) -> FlashRecord:
    plan = plan_of(part, ("p", 0, 0, 1), fps=fps, radio=radio)
    return flash_record(plan, PictureNumbers(logo, (tuple(frames), (frames[-1],))), cells, FLASH)


def test_seven_transitions_in_a_second_fail_and_six_pass() -> None:
    # WCAG 2.2, G19. At 30 fps this radio shows a frame for 1/30 s + 18.2 ms = 51 ms: eight frames take 0.4 s.
    seven = judged(("p", 1, 0, 8), [BLACK, WHITE] * 4, fps=30)
    assert (seven.passes, seven.general_max_per_s, seven.most_per_s) == (False, 4, 3)
    six = judged(("p", 1, 0, 7), [BLACK, WHITE] * 3 + [BLACK], fps=30)
    assert (six.passes, six.general_max_per_s) == (True, 3)


def test_the_step_from_the_logo_to_frame_1_is_a_transition() -> None:
    frames = [WHITE, BLACK] * 3 + [WHITE]  # six transitions by themselves
    assert judged(("p", 1, 0, 7), frames, logo=WHITE, fps=30).passes
    assert not judged(("p", 1, 0, 7), frames, logo=BLACK, fps=30).passes


def test_a_black_picture_before_frame_1_is_two_transitions_after_a_bright_logo() -> None:
    """4.0 and 4.4 show one (AOSP, observed): logo, black, frame 1. Five transitions by themselves, then seven."""
    frames = [WHITE, BLACK] * 3
    assert judged(("p", 1, 0, 6), frames, logo=WHITE, fps=30).passes
    assert not judged(("p", 1, 0, 6), frames, logo=WHITE, fps=30, radio=TALL).passes
    assert judged(("p", 1, 0, 6), frames, logo=BLACK, fps=30, radio=TALL).passes


def test_a_guessed_generation_is_judged_by_the_player_on_which_it_flashes_most() -> None:
    frames = [WHITE, BLACK] * 3
    later = with_player(TALL, generation="third")  # it shows no black picture, and a frame for its beat alone
    guess = with_player(TALL, generation="third", may_be=["second"])
    assert judged(("p", 1, 0, 6), frames, logo=WHITE, fps=30, radio=later).passes
    assert not judged(("p", 1, 0, 6), frames, logo=WHITE, fps=30, radio=guess).passes


@pytest.mark.parametrize("again", [0, 1])
@pytest.mark.parametrize("seed", range(3))
def test_plays_that_repeat_have_the_figures_of_all_pictures_shown_one_by_one(seed: int, again: int) -> None:
    """Some plays begin with the picture that the play before ended in, and a loop follows on the part before."""
    rng = np.random.default_rng(seed)
    rows, cols = Screen.of(TALL.panel, FLASH).shape
    blocks = rng.integers(0, 4, (6, rows // 9 + 1, cols // 9 + 1, 3)).repeat(9, 1).repeat(9, 2)[:, :rows, :cols]
    light = np.array([0, 6000, 30000, FULL], np.uint16)[blocks]
    numbers = PictureNumbers(0, ((1, 2, 3, 1 if again else 4), (4, 5, 2, 4 if again else 3)))
    plan = plan_of(("p", 4, 1, 4), ("p", 0, 0, 4), fps=12, radio=WITHOUT_BLACK)
    screen, (player,) = Screen.of(TALL.panel, FLASH), players(plan)

    def one_by_one() -> Iterator[tuple[float, Picture]]:
        return shown(plan, numbers, player, light.__getitem__, None, screen)

    assert len(list(one_by_one())) > 24
    assert flash_record(plan, numbers, light.__getitem__, FLASH) == flash_check(screen, FLASH, one_by_one)


def test_later_plays_are_judged_at_their_own_quicker_pace() -> None:
    """AOSP: only the first play decodes. Here a frame takes 0.33 s in the first play and 0.13 s in later ones, so the
    endless loop makes three transitions a second, then seven and more."""
    slow = TALL.limits.model_copy(update={"decode_ms_per_mpx": 250.0})
    plan = plan_of(("p", 0, 0, 8), fps=8, radio=WITHOUT_BLACK.model_copy(update={"limits": slow}))
    assert plan.pacing.interval_s > 0.32 and plan.pacing.later_interval_s < 0.13
    loop = PictureNumbers(BLACK, ((BLACK, WHITE) * 4,))
    assert not flash_record(plan, loop, cells, FLASH).passes
    once = plan_of(("p", 1, 0, 8), fps=8, radio=plan.radio)
    assert flash_record(once, loop, cells, FLASH).passes


def test_frames_that_may_be_plain_are_judged_at_the_pace_that_films_measured_for_plain_ones() -> None:
    """An additive player at 8 fps: a detailed frame takes 0.33 s and makes three transitions a second, a plain one
    0.135 s and makes seven."""
    slow = TALL.limits.model_copy(update={"decode_ms_per_mpx": 250.0})
    radio = WITHOUT_BLACK.model_copy(update={"limits": slow})
    frames = [BLACK, WHITE] * 4
    assert judged(("p", 1, 0, 8), frames, fps=8, radio=radio).passes
    filmed = Filmed(source="films", fps=10, starts=3, interval_ms=110, interval_error_ms=0.1, plain_ms=6.0)
    assert not judged(("p", 1, 0, 8), frames, fps=8, radio=radio.model_copy(update={"filmed": filmed})).passes


def test_the_seam_between_two_plays_is_a_transition() -> None:
    frames = [BLACK, WHITE, BLACK, WHITE]  # three transitions; two plays have seven, the step back to black among them
    assert judged(("p", 1, 0, 4), frames, fps=30).passes
    assert not judged(("p", 2, 0, 4), frames, fps=30).passes


def test_a_pause_between_plays_keeps_their_transitions_apart() -> None:
    assert judged(("p", 2, 30, 4), [BLACK, WHITE, BLACK, WHITE], fps=30).passes  # a pause of 30 frames is a second


def test_an_endless_loop_is_judged_over_its_seam() -> None:
    plan = plan_of(("p", 0, 0, 6), fps=8)  # a frame for 143 ms: seven a second
    loop = PictureNumbers(BLACK, ((BLACK, WHITE) * 3,))
    assert not flash_record(plan, loop, cells, FLASH).passes
    once = plan_of(("p", 1, 0, 6), fps=8)
    assert flash_record(once, loop, cells, FLASH).passes


def test_equal_pictures_one_after_the_other_are_read_once() -> None:
    read: list[int] = []

    def counting(number: int) -> NDArray[np.uint16]:
        read.append(number)
        return cells(number)

    flash_record(
        plan_of(("p", 1, 0, 90), radio=WITHOUT_BLACK), PictureNumbers(BLACK, ((BLACK,) * 90,)), counting, FLASH
    )
    assert read == [BLACK]


def test_pixels_decide_where_cells_cannot() -> None:
    """A box of 25.5 % of the field that makes seven transitions on ground that makes six (WCAG 2.2, G19)."""
    panel = TALL.panel
    screen = Screen.of(panel, FLASH)
    width = 300
    height = round(0.255 * screen.field_area_px / width)

    def pixels(number: int) -> NDArray[np.uint8]:
        rgb = np.full((panel.height, panel.width, 3), 30 if number % 2 == 0 or number == 7 else 200, np.uint8)
        rgb[101 : 101 + height, 52 : 52 + width] = 30 if number % 2 == 0 else 200
        return rgb

    def cells(number: int) -> NDArray[np.uint16]:
        return luminance.cells(pixels(number), screen.cell_px)

    plan = plan_of(("p", 1, 0, 8), ("p", 0, 0, 1), fps=30)
    numbers = PictureNumbers(0, (tuple(range(8)), (7,)))
    assert not flash_record(plan, numbers, cells, FLASH, pixels).passes
    height = round(0.245 * screen.field_area_px / width)
    assert flash_record(plan, numbers, cells, FLASH, pixels).passes


def record(general: int, red: int) -> FlashRecord:
    return FlashRecord(
        passes=max(general, red) <= 3, general_max_per_s=general, red_max_per_s=red, most_per_s=3, worst_at_s=1.25
    )


@pytest.mark.parametrize(
    ("general", "red", "said"),
    [(4, 0, "4 general flashes within"), (0, 5, "5 red flashes"), (4, 6, "4 general flashes and 6 red flashes")],
)
def test_the_finding_says_which_flashes_are_too_many(general: int, red: int, said: str) -> None:
    (reason,) = flash_reasons(record(general, red), FLASH)
    assert (reason.code, reason.kind) == ("flashes", Kind.REFUSE)
    assert reason.what.startswith(said) and "at 1.2 s" in reason.what and "at most 3" in reason.what


def test_no_finding_where_it_passes() -> None:
    assert flash_reasons(record(3, 3), FLASH) == []


def test_a_shop_may_note_flashes_instead_of_refusing_them() -> None:
    lenient = FLASH.model_copy(update={"on_failure": "note"})
    assert [reason.kind for reason in flash_reasons(record(4, 0), lenient)] == [Kind.NOTE]
