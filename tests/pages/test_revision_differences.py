"""What changed from one revision to the next."""

from __future__ import annotations

from types import ModuleType

from keyturn.pages.revision_differences import spans
from keyturn.pages.sheet import sheet
from keyturn.shop.records import ProofRecord
from page_text import text_of


def test_what_changed_is_told_by_name(by_hand: ModuleType) -> None:
    old, new = by_hand.job(by_hand.radio(fps=10)), by_hand.job(revision=2)
    frames = [by_hand.picture(i) for i in range(48)]
    frames[11], frames[20], frames[21] = (by_hand.picture(i, lamp="#ff8844") for i in (11, 20, 21))
    shown = by_hand.radio_proof(new.radios[0], frames=tuple(frames))
    jobs = [(old, by_hand.proof(old)), (new, ProofRecord(radios=(shown,)))]
    text = text_of(sheet(new.customer, jobs, by_hand.CAUTIONS))
    assert "What changed since revision 1" in text
    assert "10 to 12 frames a second" in text
    assert "lamps: frames 12, 21 to 22 redrawn" in text
    assert "hold:" not in text.partition("What changed")[2].partition("What was mended")[0]


def test_a_frame_put_in_between_does_not_redraw_all_that_follow(by_hand: ModuleType) -> None:
    old = by_hand.job()
    parts = (by_hand.part("lamps", 49, pause=6, pause_s=0.5), by_hand.LAMPS[1])
    new = by_hand.job(by_hand.radio(parts=parts), revision=2)
    numbers = [*range(20), 60, *range(20, 48)]
    frames = tuple(by_hand.picture(i, lamp="#ffffff" if i == 60 else "#f0c552") for i in numbers)
    shown = by_hand.radio_proof(new.radios[0], frames=frames)
    text = text_of(sheet(new.customer, [(new, ProofRecord(radios=(shown,))), (old, by_hand.proof(old))], ()))
    assert "lamps: frame 21 new" in text
    assert "lamps: 49 frames instead of 48" in text
    assert "redrawn" not in text


def test_numbers_are_told_in_runs() -> None:
    assert spans([2, 6, 7, 8]) == "3, 7 to 9"
    assert spans([0]) == "1"
