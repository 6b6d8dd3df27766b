"""The film strip: its bars, the marks on doubled and missing frames, and long parts."""

from __future__ import annotations

import re
from dataclasses import replace
from types import ModuleType

import pytest

from judge.plans import plan_of
from keyturn.judge.motion import stumble_reasons
from keyturn.pages.film_strip import film_strips
from keyturn.shop.records import ProofRecord
from page_text import text_of


def test_a_doubled_and_a_missing_frame_stand_out_in_the_strip(by_hand: ModuleType) -> None:
    """In a steady movement a doubled frame changes nothing and a missing one doubles the step. Arithmetic."""
    job = by_hand.job()
    orders = (tuple(i - (i > 12) for i in range(48)), (46,))
    changes = (tuple(0.0 if i in (0, 13) else 0.04 if i == 30 else 0.02 for i in range(48)), (0.0,))
    shown = by_hand.radio_proof(job.radios[0], order=orders, changes=changes)
    page = by_hand.sheet_of(job, ProofRecord(radios=(shown,)))
    text = text_of(page)
    assert 'Marked "same", no change from the frame before: 14.' in text
    assert 'Marked "step", a larger change than its neighbours: 31.' in text
    assert "Marked" not in text_of(by_hand.sheet_of(job))


def test_a_very_long_part_is_shown_in_part_and_hides_no_doubled_frame(by_hand: ModuleType) -> None:
    job = by_hand.long_job(1000)
    orders = (tuple(i - (i > 500) for i in range(1000)), (998,))
    frames = tuple(f"data:image/webp;base64,{i:08}" for i in range(999))
    changes = (tuple(0.0 if i in (0, 501) else 0.02 for i in range(1000)), (0.0,))
    shown = by_hand.radio_proof(job.radios[0], frames=frames, logo=frames[0], order=orders, changes=changes)
    text = text_of(by_hand.sheet_of(job, ProofRecord(radios=(shown,))))
    assert "1,000 frames, 240 of them shown" in text
    assert "no change from the frame before" in text


def test_bars_of_all_parts_have_one_scale(by_hand: ModuleType) -> None:
    radio = by_hand.radio(parts=(by_hand.part("lamps", 3), by_hand.part("hold", 2, count=0)))
    proof = by_hand.radio_proof(radio, order=((0, 1, 2), (2, 1)), changes=((0.0, 0.04, 0.02), (0.0, 0.01)))
    lamps, hold = film_strips(radio, proof)
    assert (lamps.title, lamps.frames, hold.title, hold.frames) == ("Part 1", 3, "Part 2", 2)
    assert [(c.number, c.picture) for c in hold.cells] == [(1, 2), (2, 1)]
    largest = lamps.cells[1].bar
    assert [c.bar / largest for c in (*lamps.cells, *hold.cells)] == pytest.approx([0, 1, 0.5, 0, 0.25])


def test_numbers_are_listed_by_mark(by_hand: ModuleType) -> None:
    radio = by_hand.radio(parts=(by_hand.part("lamps", 20),))
    order = (tuple(i - (i > 5) - (i > 6) for i in range(20)),)
    changes = (tuple(0.0 if i in (0, 6, 7) else 0.05 if i == 12 else 0.02 for i in range(20)),)
    (strip,) = film_strips(radio, by_hand.radio_proof(radio, order=order, changes=changes))
    assert strip.marked == {"jump": (13,), "same": (7, 8)}


def test_a_step_over_frames_that_keyturn_left_out_is_not_marked(by_hand: ModuleType) -> None:
    """Frame 13 of those that stayed follows a frame that was left out: it makes two steps at once."""
    order = (tuple(range(20)),)
    changes = (tuple(0.0 if i == 0 else 0.04 if i == 12 else 0.02 for i in range(20)),)
    marks = []
    for places in ((), tuple(i + (i >= 12) for i in range(20))):
        radio = by_hand.radio(parts=(by_hand.part("lamps", 20, places=places),))
        (strip,) = film_strips(radio, by_hand.radio_proof(radio, order=order, changes=changes))
        marks.append(strip.marked)
    assert marks == [{"jump": (13,)}, {}]


@pytest.mark.parametrize(
    "changes",
    [
        [0.02] * 9 + [0.0375] + [0.02] * 9,
        [0.02] * 9 + [0.0365, 0.021] + [0.02] * 9,
        [0.02] * 9 + [0.045, 0.002] + [0.02] * 9,
        [0.02] * 9 + [0.045, 0.03] + [0.02] * 9,
        [0.01 * 1.3**n for n in range(12)] + [0.6] + [0.2] * 6,
        [0.0001] * 9 + [0.0019] + [0.0001] * 9,
    ],
)
@pytest.mark.parametrize("left_out", [(), (10,)])
def test_the_strip_marks_the_jumps_that_the_judge_notes(
    by_hand: ModuleType, changes: list[float], left_out: tuple[int, ...]
) -> None:
    frames = len(changes) + 1
    drawn = plan_of(("p", 1, 0, frames + len(left_out)))
    places = [n for n in range(frames + len(left_out)) if n not in left_out]
    plan = replace(drawn, parts=(drawn.parts[0].only(places),))
    noted = stumble_reasons(plan, [[0.0, *changes]], [range(frames)])
    radio = by_hand.radio(parts=(by_hand.part("lamps", frames, places=tuple(places)),))
    proof = by_hand.radio_proof(radio, order=(tuple(range(frames)),), changes=((0.0, *changes),))
    (strip,) = film_strips(radio, proof)
    told = [int(n) for r in noted if r.code == "motion-jumps" for n in re.findall(r"\d+", r.what.split("frame ")[1])]
    assert list(strip.marked.get("jump", ())) == told


def test_without_measured_changes_there_are_no_bars_and_no_marks(by_hand: ModuleType) -> None:
    radio = by_hand.radio()
    for strip in film_strips(radio, by_hand.radio_proof(radio, changes=())):
        assert {(c.bar, c.mark) for c in strip.cells} == {(0.0, "")}


def test_small_changes_are_never_marked_however_they_stand_out(by_hand: ModuleType) -> None:
    radio = by_hand.radio(parts=(by_hand.part("lamps", 20),))
    order = (tuple(range(20)),)
    changes = (tuple(0.0 if i == 0 else 0.0019 if i == 12 else 0.0001 for i in range(20)),)
    (strip,) = film_strips(radio, by_hand.radio_proof(radio, order=order, changes=changes))
    assert strip.marked == {}


def test_a_long_strip_begins_and_ends_with_its_part(by_hand: ModuleType) -> None:
    radio = by_hand.radio(parts=(by_hand.part("lamps", 1000),))
    order = (tuple(range(1000)),)
    changes = (tuple(0.0 if i == 0 else 0.4 if i == 500 else 0.02 for i in range(1000)),)
    (strip,) = film_strips(radio, by_hand.radio_proof(radio, frames=("data:,",), order=order, changes=changes))
    assert (strip.cells[0].number, strip.cells[-1].number, len(strip.cells)) == (1, 1000, 240)
    # the frame with the largest change may be left out; its change and its mark are not
    assert [c.mark for c in strip.cells if c.bar == max(d.bar for d in strip.cells)] == ["jump"]
