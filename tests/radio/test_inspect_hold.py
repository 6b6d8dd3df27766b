"""What an archive can do to the home screen, with the boot times of a radio or with any."""

from __future__ import annotations

import math

import pytest

from keyturn.radio.archive import PartSeen
from keyturn.radio.desc import Desc, Row
from keyturn.radio.inspect_hold import hold_reasons, worst_delay
from keyturn.shop.player_facts import of_generation
from keyturn.shop.reasons import Kind
from radio.archives import TALL
from samples import with_player

SECOND = of_generation("second")


def seen(*rows: Row, frames: int = 10) -> tuple[Desc, list[PartSeen]]:
    desc = Desc(768, 1024, 10, rows)
    return desc, [PartSeen(row, tuple(f"{row.path}/{n:04}.png" for n in range(frames))) for row in rows]


def test_a_pause_long_before_any_boot_ends_holds_nothing_on_a_radio_that_is_known() -> None:
    """This radio boots in 16 s at the shortest; the part and its pause are over after 4 s."""
    desc, parts = seen(Row("p", 1, 30, "part0"), Row("p", 0, 0, "part1"))
    assert worst_delay(desc, parts, with_player(TALL, generation="second"), SECOND) == pytest.approx(0.1, abs=0.01)
    assert worst_delay(desc, parts, None, SECOND) == pytest.approx(3.1, abs=0.01)


def test_a_radio_without_a_camera_gets_a_note() -> None:
    desc, parts = seen(Row("p", 0, 30, "part0"))
    radio = with_player(TALL, generation="second")
    (refused,) = hold_reasons(parts, radio, worst_delay(desc, parts, radio, SECOND))
    screen = radio.screen.model_copy(update={"shows_camera": False})
    (noted,) = hold_reasons(parts, radio.model_copy(update={"screen": screen}), worst_delay(desc, parts, radio, SECOND))
    assert (refused.kind, noted.kind) == (Kind.REFUSE, Kind.NOTE)


def test_a_c_part_after_a_fade_never_lets_go_on_the_fourth() -> None:
    """14: the loop over plays goes on while frames have faded, and a c part does not stop for the end of the boot."""
    desc, parts = seen(Row("f", 0, 0, "part0", fade=3), Row("c", 1, 0, "part1"))
    fourth = of_generation("fourth")
    assert math.isinf(worst_delay(desc, parts, None, fourth))
    (told,) = hold_reasons(parts, None, worst_delay(desc, parts, None, fourth))
    assert told.code == "screen-never-released" and "after a part that fades" in told.what
