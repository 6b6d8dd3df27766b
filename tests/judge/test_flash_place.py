"""Where it flashes. The box is known from how the pictures were made; what a flash is, is WCAG 2.2's."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from judge.plans import RULES, TALL, plan_of
from keyturn.eye.luminance import FULL
from keyturn.eye.screen import Screen
from keyturn.judge.flash import PictureNumbers, flash_reasons, flash_record
from keyturn.judge.flash_place import flash_exhibits, flash_place
from samples import with_player

FLASH = RULES.safety.flash
RADIO = with_player(TALL, black_first=False)
ROWS, COLUMNS = Screen.of(RADIO.panel, FLASH).shape
BOX = (COLUMNS // 2, ROWS // 4, COLUMNS, ROWS // 4 * 3)
"""Left, top, right, bottom of what flashes, in cells."""


def cells(number: int) -> NDArray[np.uint16]:
    """Picture 0 is grey; in picture 1 a box of it is white. In picture 2 another corner is a little brighter."""
    grey = np.full((ROWS, COLUMNS, 3), FULL * 0.1, np.uint16)
    if number == 1:
        grey[BOX[1] : BOX[3], BOX[0] : BOX[2]] = FULL
    if number == 2:
        grey[:2, :2] = FULL * 0.15
    return grey


def test_the_place_is_where_it_changes_and_the_pictures_are_those_between_which_it_does() -> None:
    frames = [0, 1] * 5
    plan = plan_of(("p", 1, 0, 10), ("p", 0, 0, 1), fps=30, radio=RADIO)
    numbers = PictureNumbers(0, (tuple(frames), (0,)))
    record = flash_record(plan, numbers, cells, FLASH)
    assert not record.passes
    place = flash_place(plan, numbers, cells, FLASH, record.worst_at_s)
    assert place is not None and {place.before, place.after} == {0, 1}
    left, top, right, bottom = BOX
    assert place.box == (left / COLUMNS, top / ROWS, right / COLUMNS, bottom / ROWS)


def test_the_finding_shows_both_pictures_by_the_first_frame_that_shows_them() -> None:
    plan = plan_of(("p", 1, 0, 10), ("p", 0, 0, 1), fps=30, radio=RADIO)
    numbers = PictureNumbers(0, ((0, 1) * 5, (0,)))
    record = flash_record(plan, numbers, cells, FLASH)
    shown = flash_exhibits(plan, numbers, cells, FLASH, record.worst_at_s)
    (reason,) = flash_reasons(record, FLASH, shown)
    assert sorted(e.name for e in reason.exhibits) == [
        f"{RADIO.name}: part 1, frame 1",
        f"{RADIO.name}: part 1, frame 2",
    ]
    assert all(e.marked and e.radio == RADIO.name for e in reason.exhibits)


def test_changes_below_the_threshold_have_no_place() -> None:
    """WCAG 2.2: a transition is a change of 10 % of the maximum relative luminance or more."""
    plan = plan_of(("p", 1, 0, 10), ("p", 0, 0, 1), fps=30, radio=RADIO)
    numbers = PictureNumbers(0, ((0, 2) * 5, (0,)))
    assert flash_place(plan, numbers, cells, FLASH, 0.5) is None
    assert flash_exhibits(plan, numbers, cells, FLASH, 0.5) == ()
