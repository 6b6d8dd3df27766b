"""What changed from one revision to the next."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest

from keyturn.pages.revision_differences import changed, spans
from keyturn.pages.sheet import sheet
from keyturn.shop.records import FileRecord, ProofRecord
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
    assert "part 1: frames 12, 21 to 22 redrawn" in text
    assert "part 2:" not in text.partition("What changed")[2].partition("What was mended")[0]


def test_a_frame_put_in_between_does_not_redraw_all_that_follow(by_hand: ModuleType) -> None:
    old = by_hand.job()
    parts = (by_hand.part("lamps", 49, pause=6, pause_s=0.5), by_hand.LAMPS[1])
    new = by_hand.job(by_hand.radio(parts=parts), revision=2)
    numbers = [*range(20), 60, *range(20, 48)]
    frames = tuple(by_hand.picture(i, lamp="#ffffff" if i == 60 else "#f0c552") for i in numbers)
    shown = by_hand.radio_proof(new.radios[0], frames=frames)
    text = text_of(sheet(new.customer, [(new, ProofRecord(radios=(shown,))), (old, by_hand.proof(old))], ()))
    assert "part 1: frame 21 new" in text
    assert "part 1: 49 frames instead of 48" in text
    assert "redrawn" not in text


def test_numbers_are_told_in_runs() -> None:
    assert spans([2, 6, 7, 8]) == "3, 7 to 9"
    assert spans([0]) == "1"


def difference(by_hand: ModuleType, old: dict[str, Any], new: dict[str, Any]) -> tuple[str, ...]:
    """Return what is said where a radio's record was `old` and is `new`, with the same pictures."""
    jobs = [by_hand.job(by_hand.radio(**more)) for more in (old, new)]
    before, after = ((job, by_hand.proof(job)) for job in jobs)
    return changed(before, after)


def test_two_alike_have_no_differences(by_hand: ModuleType) -> None:
    assert difference(by_hand, {}, {}) == ()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ({"count": 1}, {"count": 3}, "part 1: plays 3 times instead of once"),
        ({"count": 2}, {"count": 0}, "part 1: plays until booted instead of 2 times"),
        ({"pause_s": 0.5}, {"pause_s": 1.0}, "part 1: a rest of 1.0 s instead of 0.5 s"),
        ({"type": "p"}, {"type": "c"}, "part 1: of type c instead of p"),
        ({"art": "lamps.gif"}, {"art": "lamps/*.png"}, "part 1: drawn from lamps/*.png instead of lamps.gif"),
    ],
)
def test_what_changed_of_a_part_is_said(
    by_hand: ModuleType, old: dict[str, Any], new: dict[str, Any], said: str
) -> None:
    parts = [{"parts": (by_hand.part("lamps", 4, **more),)} for more in (old, new)]
    assert difference(by_hand, *parts) == (said,)


def test_parts_that_come_and_go_are_named(by_hand: ModuleType) -> None:
    old, new = ((by_hand.part("lamps", 4), by_hand.part(name, 1, count=0)) for name in ("hold", "gate"))
    assert difference(by_hand, {"parts": old}, {"parts": new}) == (
        "part 2: a new part",
        "part 2: this part is gone",
    )


def test_times_that_changed_are_said(by_hand: ModuleType) -> None:
    new = by_hand.timeline(once_only_s=5.6, boot_usual_s=18.0)
    assert difference(by_hand, {}, {"timeline": new}) == (
        "what plays once ends at 5.6 s instead of 4.8 s",
        "start-up times: 16.0 / 19.0 / 21.0 s, now 16.0 / 18.0 / 21.0 s",
    )


def test_files_on_the_stick_are_compared_by_their_digests(by_hand: ModuleType) -> None:
    old = (FileRecord(path="logo.png", size=2**20, sha256="aa"), FileRecord(path="INSTALL.txt", size=900, sha256="cc"))
    new = (FileRecord(path="logo.png", size=2**21, sha256="bb"), FileRecord(path="READ.txt", size=900, sha256="cc"))
    assert difference(by_hand, {"files": old}, {"files": new}) == (
        "logo.png: now 2.0 MiB, before 1.0 MiB",
        "READ.txt: a new file on the stick",
        "INSTALL.txt: no longer on the stick",
    )


def test_radios_and_the_artist_that_changed_are_named(by_hand: ModuleType) -> None:
    old = by_hand.job(by_hand.radio(), by_hand.radio("low-800x480", (800, 480)))
    new = by_hand.job(by_hand.radio(fps=10), by_hand.radio("wide-1024x600", (1024, 600)), artist="Bo")
    assert changed((old, by_hand.proof(old)), (new, by_hand.proof(new))) == (
        "wide-1024x600: new in this revision",
        "low-800x480: no longer made",
        "tall-768x1024: 12 to 10 frames a second",
        "drawn by Bo",
    )


def test_frames_that_were_taken_out_have_their_old_numbers(by_hand: ModuleType) -> None:
    radios = [by_hand.radio(parts=(by_hand.part("lamps", n),)) for n in (6, 4)]
    shown = [tuple(by_hand.picture(i) for i in numbers) for numbers in (range(6), (0, 1, 4, 5))]
    before, after = (
        (by_hand.job(radio), ProofRecord(radios=(by_hand.radio_proof(radio, frames=frames),)))
        for radio, frames in zip(radios, shown, strict=True)
    )
    assert changed(before, after) == (
        "part 1: 4 frames instead of 6",
        "part 1: frames 3 to 4 taken out (as numbered before)",
    )


def test_nothing_is_said_of_pictures_that_all_changed_their_size(by_hand: ModuleType) -> None:
    """Another version of Keyturn may make smaller pictures: they all differ, and none was redrawn."""
    old, new = (by_hand.job(by_hand.radio(parts=(by_hand.part("lamps", n),))) for n in (6, 4))
    said = changed((old, by_hand.proof(old)), (new, by_hand.proof(new, size=(60, 80))))
    assert said == ("part 1: 4 frames instead of 6",)
