"""The film strip: doubled and missing frames are marked, a long part is shown in part."""

from __future__ import annotations

from types import ModuleType

from keyturn.shop.records import ProofRecord
from page_text import text_of


def test_a_doubled_and_a_missing_frame_stand_out_in_the_strip(by_hand: ModuleType) -> None:
    """A steady movement: a doubled frame moves nothing, a missing one moves twice as far [arithmetic]."""
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
