"""The customer's sheet: the facts stand on it, the pictures once, and it can be mailed."""

from __future__ import annotations

import json
import re
from types import ModuleType

import pytest

from keyturn.pages.board import board
from keyturn.pages.card import card
from keyturn.pages.revision_differences import spans
from keyturn.pages.schedule import boot_buttons
from keyturn.pages.sheet import sheet
from keyturn.shop import rulebook
from keyturn.shop.records import JobRecord, ProofRecord

PROFILES = rulebook.load().radios


def text_of(page: str) -> str:
    """What is read, without tags, styles and scripts."""
    page = re.sub(r"<(script|style).*?</\1>", " ", page, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", "", page).replace("&#34;", '"').replace("&#39;", "'").split())


def one(by_hand: ModuleType, job: JobRecord, proof: ProofRecord | None = None) -> str:
    return sheet(job.customer, [(job, by_hand.proof(job) if proof is None else proof)], by_hand.CAUTIONS)


def test_the_facts_a_customer_signs_for_are_there_as_text(by_hand: ModuleType) -> None:
    text = text_of(one(by_hand, by_hand.job()))
    for fact in (
        "Fern Hollow Mobile Library",
        "van-two revision 1",
        "Made 1 March 2026, drawn by Ines, for 1 radio.",
        "lamps from lamps/*.png: 48 frames, once, 5.3 s in all, with a rest of 0.5 s",  # 48 x 0.1 + 0.5
        "hold from lamps/0048.png: one still picture until the radio has booted, usually 14.2 s (11.2 to 16.2 s)",
        "768 x 1024 pixels, 24-bit colour",
        "12 frames a second asked for; the radio shows one every 100 ms",
        "Picture memory: 4 of 256 MiB",
        "Size on the stick: 9.0 MiB of 60.0 MiB",  # 9,437,184 / 2^20
        "At most 2 general and 0 red flashes within a second; 3 of each are allowed.",
        "Frame 1 equals the logo",
        "48 frames were renumbered with leading zeros",
        "the logo was enlarged 1.5 times",
        "Approved as shown",
        "Signature",
        *by_hand.CAUTIONS,
    ):
        assert fact in text, fact


def test_the_boot_chart_says_in_words_what_it_draws(by_hand: ModuleType) -> None:
    late = by_hand.timeline(once_only_s=17.0, share_finished=0.98, boot_samples_s=(16.0, 19.0, 21.0))
    text = text_of(one(by_hand, by_hand.job(by_hand.radio(timeline=late))))
    assert "ends 17.0 s after the first frame and finishes in 98 % of starts; 95 % was asked for" in text
    assert "Starts (3 measured) take 16.0 s to 21.0 s, usually 19.0 s." in text
    assert "overlap" in text
    assert "overlap" not in text_of(one(by_hand, by_hand.job()))


def test_each_picture_is_carried_once_however_often_it_is_shown(by_hand: ModuleType) -> None:
    job = by_hand.job()
    page = one(by_hand, job)
    for number in (0, 20, 47):  # the logo, a frame, the frame that holds
        assert page.count(by_hand.picture(number)) == 1
    assert page.count('aria-label="Frame 48"') == 1


def test_a_sheet_of_120_frames_stays_below_three_megabytes(by_hand: ModuleType) -> None:
    """Six revisions of 120 frames of 15 kB each, which is what thumbnails of 320 px weigh."""
    jobs = []
    for revision in range(1, 7):
        job = by_hand.long_job(120).model_copy(update={"revision": revision})
        frames = tuple(f"data:image/webp;base64,{revision}x{i:05}".ljust(15_000, "A") for i in range(120))
        shown = by_hand.radio_proof(job.radios[0], frames=frames, logo=frames[0])
        jobs.append((job, ProofRecord(radios=(shown,))))
    page = sheet("Fern Hollow Mobile Library", jobs, by_hand.CAUTIONS)
    assert len(page.encode()) < 3_000_000
    assert "6x00119" in page  # the newest revision's last frame is there
    assert "5x00000" not in page  # an older one's are not


def test_pictures_of_more_jobs_than_a_mail_carries_are_left_out_and_said_so(by_hand: ModuleType) -> None:
    frames = tuple(f"data:image/webp;base64,{i:05}".ljust(30_000, "A") for i in range(48))
    jobs = [by_hand.job(job=f"van-{i}", made_at=f"2026-03-0{i}T09:30:00+00:00") for i in (1, 2, 3)]
    proof = ProofRecord(radios=(by_hand.radio_proof(jobs[0].radios[0], frames=frames, logo=frames[0]),))
    page = sheet("Fern Hollow Mobile Library", [(job, proof) for job in jobs], by_hand.CAUTIONS)
    assert len(page.encode()) < 3_000_000
    assert text_of(page).count("carries no pictures of this radio") == 2
    assert page.index("van-3") < page.index("van-2") < page.index("van-1")


def test_the_newest_revision_is_open_and_older_ones_are_folded(by_hand: ModuleType) -> None:
    new = by_hand.job(revision=10, made_at="2026-03-03T09:30:00+00:00")
    jobs = [by_hand.job(revision=2), new, by_hand.job(revision=9)]
    page = sheet(new.customer, [(job, by_hand.proof(job)) for job in jobs], by_hand.CAUTIONS)
    unfolded, *folded = page.split('<details class="panel older">')
    assert "revision 10</span>" in unfolded
    assert [re.search(r"Revision (\d+)", part)[1] for part in folded] == ["9", "2"]  # type: ignore[index]


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


def test_a_doubled_and_a_missing_frame_stand_out_in_the_strip(by_hand: ModuleType) -> None:
    """A steady movement: a doubled frame moves nothing, a missing one moves twice as far [arithmetic]."""
    job = by_hand.job()
    orders = (tuple(i - (i > 12) for i in range(48)), (46,))
    changes = (tuple(0.0 if i in (0, 13) else 0.04 if i == 30 else 0.02 for i in range(48)), (0.0,))
    shown = by_hand.radio_proof(job.radios[0], order=orders, changes=changes)
    page = one(by_hand, job, ProofRecord(radios=(shown,)))
    text = text_of(page)
    assert 'Marked "same", no change from the frame before: 14.' in text
    assert 'Marked "step", a larger change than its neighbours: 31.' in text
    assert "Marked" not in text_of(one(by_hand, job))


def test_a_very_long_part_is_shown_in_part_and_hides_no_doubled_frame(by_hand: ModuleType) -> None:
    job = by_hand.long_job(1000)
    orders = (tuple(i - (i > 500) for i in range(1000)), (998,))
    frames = tuple(f"data:image/webp;base64,{i:08}" for i in range(999))
    changes = (tuple(0.0 if i in (0, 501) else 0.02 for i in range(1000)), (0.0,))
    shown = by_hand.radio_proof(job.radios[0], frames=frames, logo=frames[0], order=orders, changes=changes)
    text = text_of(one(by_hand, job, ProofRecord(radios=(shown,))))
    assert "1,000 frames, 240 of them shown" in text
    assert "no change from the frame before" in text


def test_pictures_that_do_not_fit_the_record_are_not_shown(by_hand: ModuleType) -> None:
    job = by_hand.job()
    shown = by_hand.radio_proof(job.radios[0], order=(tuple(range(10)), (9,)))
    text = text_of(one(by_hand, job, ProofRecord(radios=(shown,))))
    assert "carries no pictures of this radio" in text
    assert "carries no pictures of this radio" in text_of(one(by_hand, job, ProofRecord(radios=())))


def test_a_part_that_delays_the_home_screen_says_so(by_hand: ModuleType) -> None:
    parts = (by_hand.part("gate", 12, type="c"), by_hand.part("hold", 1, count=0))
    delayed = by_hand.radio(parts=parts, timeline=by_hand.timeline(delay_s=1.25))
    text = text_of(one(by_hand, by_hand.job(delayed)))
    assert "plays to its end even when the radio has booted" in text
    assert "Home screen: up to 1.2 s later than without this animation" in text


def test_what_is_never_reached_is_not_promised(by_hand: ModuleType) -> None:
    """After an endless row only one of type c plays (AOSP, cmds/bootanimation, format description)."""
    parts = (by_hand.part("hold", 1, count=0), by_hand.part("never", 5), by_hand.part("after", 5, type="c"))
    text = text_of(card(by_hand.job(), by_hand.radio(parts=parts), PROFILES["tall-768x1024"], ()))
    assert "never" not in text
    assert "after from after/*.png: 5 frames, once" in text


def test_the_players_schedule_is_plain_json_of_the_parts(by_hand: ModuleType) -> None:
    page = one(by_hand, by_hand.job())
    found = re.search(r'<script type="application/json" class="schedule">(.*?)</script>', page, re.S)
    assert found is not None
    schedule = json.loads(found[1])
    assert schedule["interval_s"] == 0.1
    assert [(p["type"], p["count"], p["pause_s"], len(p["order"])) for p in schedule["parts"]] == [
        ("p", 1, 0.5, 48),
        ("p", 0, 0.0, 1),
    ]


def test_measured_starts_are_offered_instead_of_assumed_ones(by_hand: ModuleType) -> None:
    samples = tuple(16 + i / 4 for i in range(20))
    buttons = boot_buttons(by_hand.timeline(boot_samples_s=samples))
    assert len(buttons) <= 7
    assert (buttons[0][1], buttons[-1][1]) == (min(samples), max(samples))
    assert [label for label, _ in boot_buttons(by_hand.timeline())] == [
        "shortest 16.0 s",
        "usual 19.0 s",
        "longest 21.0 s",
    ]


@pytest.mark.parametrize("flashes", [1, 3, 7])
def test_the_flash_chart_tells_its_worst_second(by_hand: ModuleType, flashes: int) -> None:
    record = by_hand.radio().flash.model_copy(
        update={"general_max_per_s": flashes, "passes": flashes <= 3, "per_second": ((2.0, flashes, 0),)}
    )
    page = one(by_hand, by_hand.job(by_hand.radio(flash=record)))
    assert f"General flashes a second: at most {flashes}, 3 allowed" in page
    assert ('class="above"' in page) == (flashes > 3)
    assert ("does not pass" in page) == (flashes > 3)


def test_a_job_without_a_flash_has_no_flash_chart(by_hand: ModuleType) -> None:
    still = by_hand.radio().flash.model_copy(update={"general_max_per_s": 0, "per_second": ((1.0, 0, 0),)})
    page = one(by_hand, by_hand.job(by_hand.radio(flash=still)))
    assert "General flashes a second" not in page
    assert "No flashes were found." in page


def test_long_lists_on_the_board_are_cut_with_a_count(by_hand: ModuleType) -> None:
    ready = tuple(by_hand.state().ready[0].model_copy(update={"job": f"job-{i}"}) for i in range(90))
    page = board(by_hand.state(ready=ready, ready_total=500))
    assert page.count("<tr>") - 1 == 60
    assert "and 440 more" in page


def test_a_thousand_waiting_drops_are_a_count_on_the_board(by_hand: ModuleType) -> None:
    waiting = tuple(by_hand.state().waiting[1].model_copy(update={"name": f"van-{i}"}) for i in range(100))
    page = board(by_hand.state(waiting=waiting, waiting_total=1000))
    assert page.count("still being copied") == 40
    assert "and 960 more" in page
    assert "1000 waiting" in page


def test_a_sheet_says_how_many_earlier_revisions_it_leaves_out(by_hand: ModuleType) -> None:
    made = by_hand.job(by_hand.radio())
    jobs = [(made, by_hand.proof(made))]
    assert "leaves out 580 earlier revisions" in sheet("C", jobs, (), earlier=580)
    assert "leaves out 1 earlier revision;" in sheet("C", jobs, (), earlier=1)
    assert "leaves out" not in sheet("C", jobs, ())
