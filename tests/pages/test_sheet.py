"""The customer's sheet: it shows the facts and each picture once, and it is small enough to mail."""

from __future__ import annotations

import re
from types import ModuleType

from keyturn.pages.sheet import Beside, sheet
from keyturn.shop.papers import Letterhead, Papers
from keyturn.shop.records import JobRecord, PlayerPicture, PlayerRecord, ProofRecord, RadioPlayer
from page_text import text_of


def test_the_facts_a_customer_signs_for_are_there_as_text(by_hand: ModuleType) -> None:
    text = text_of(by_hand.sheet_of(by_hand.job()))
    for fact in (
        "Fern Hollow Mobile Library",
        "van-two revision 1",
        "Made 1 March 2026, drawn by Ines, for 1 radio.",
        "Part 1 from lamps/*.png: 48 frames, once, 5.3 s in all, with a rest of 0.5 s",  # 48 x 0.1 + 0.5
        "Part 2 from lamps/0048.png: one still picture until the radio has booted, usually 14.2 s (11.2 to 16.2 s)",
        "768 x 1024 pixels, 24-bit colour",
        "12 frames a second asked for; the radio shows one every 100 ms",
        "Picture memory: 4 of 256 MiB",
        "Size on the stick: 9.0 MiB of 60.0 MiB",  # 9,437,184 / 2^20
        "At most 2 general and 0 red flashes within a second; 3 of each are allowed.",
        "Frame 1 equals the logo",
        "48 frames were renumbered with leading zeros",
        "the logo was enlarged 1.5 times",
        "Then the animation plays for 5 seconds, and rests for 0.5 seconds.",
        "We have not timed this radio's start.",
        "It flashes at most two times within a second. The usual limit is three.",
        "Yes, make it so",
        "Signature",
        *by_hand.CAUTIONS,
    ):
        assert fact in text, fact


def test_each_picture_is_carried_once_however_often_it_is_shown(by_hand: ModuleType) -> None:
    job = by_hand.job()
    page = by_hand.sheet_of(job)
    for number in (0, 20, 47):  # the logo, a frame, the frame that holds
        assert page.count(by_hand.picture(number)) == 1
    assert page.count('aria-label="Frame 48"') == 1


def test_a_sheet_of_120_frames_stays_below_three_megabytes(by_hand: ModuleType) -> None:
    """Six revisions of 120 frames. Each frame has 15 kB, the size of a thumbnail of 320 px."""
    jobs = []
    for revision in range(1, 7):
        job = by_hand.long_job(120).model_copy(update={"revision": revision})
        frames = tuple(f"data:image/webp;base64,{revision}x{i:05}".ljust(15_000, "A") for i in range(120))
        shown = by_hand.radio_proof(job.radios[0], frames=frames, logo=frames[0])
        jobs.append((job, ProofRecord(radios=(shown,))))
    page = sheet("Fern Hollow Mobile Library", jobs, by_hand.CAUTIONS)
    assert len(page.encode()) < 3_000_000
    assert "6x00119" in page  # the newest revision's last frame is there
    assert page.count("base64,5x") == 4, "of the one before only some redrawn pictures, beside the new ones"
    assert "base64,4x" not in page


def test_pictures_of_more_jobs_than_a_mail_carries_are_left_out_and_said_so(by_hand: ModuleType) -> None:
    frames = tuple(f"data:image/webp;base64,{i:05}".ljust(90_000, "A") for i in range(48))
    jobs = [by_hand.job(job=f"van-{i}", made_at=f"2026-03-0{i}T09:30:00+00:00") for i in (1, 2, 3)]
    proof = ProofRecord(radios=(by_hand.radio_proof(jobs[0].radios[0], frames=frames, logo=frames[0]),))
    page = sheet("Fern Hollow Mobile Library", [(job, proof) for job in jobs], by_hand.CAUTIONS)
    assert len(page.encode()) < 6_000_000
    assert text_of(page).count("carries no pictures of this radio") == 2
    assert page.index("van-3") < page.index("van-2") < page.index("van-1")


def test_the_newest_revision_is_open_and_older_ones_are_folded(by_hand: ModuleType) -> None:
    new = by_hand.job(revision=10, made_at="2026-03-03T09:30:00+00:00")
    jobs = [by_hand.job(revision=2), new, by_hand.job(revision=9)]
    page = sheet(new.customer, [(job, by_hand.proof(job)) for job in jobs], by_hand.CAUTIONS)
    unfolded, *folded = page.split('<details class="panel older">')
    assert "revision 10</span>" in unfolded
    assert [re.search(r"Revision (\d+)", part)[1] for part in folded] == ["9", "2"]  # type: ignore[index]


def test_pictures_that_do_not_fit_the_record_are_not_shown(by_hand: ModuleType) -> None:
    job = by_hand.job()
    shown = by_hand.radio_proof(job.radios[0], order=(tuple(range(10)), (9,)))
    text = text_of(by_hand.sheet_of(job, ProofRecord(radios=(shown,))))
    assert "carries no pictures of this radio" in text
    assert "carries no pictures of this radio" in text_of(by_hand.sheet_of(job, ProofRecord(radios=())))


def test_a_sheet_says_how_many_earlier_revisions_it_leaves_out(by_hand: ModuleType) -> None:
    made = by_hand.job(by_hand.radio())
    jobs = [(made, by_hand.proof(made))]
    assert "leaves out 580 earlier revisions" in sheet("C", jobs, (), earlier=580)
    assert "leaves out 1 earlier revision;" in sheet("C", jobs, (), earlier=1)
    assert "leaves out" not in sheet("C", jobs, ())


# -- large pictures and pages of their own -----------------------------------------------------------


def large_of(job: JobRecord, size: int, **more: int) -> PlayerRecord:
    """A large picture for each of the 48 small ones; moving ones are boxes on the first."""
    boxes = {"left": 3, "top": 4}
    moving = [PlayerPicture(number=n, data=f"data:L{n}".ljust(size, "A"), base=0, **boxes) for n in range(1, 47)]
    still = [PlayerPicture(number=n, data=f"data:L{n}".ljust(size, "A")) for n in (0, 47)]
    made = {"radio": job.radios[0].radio, "logo": 0, "width": 540, "height": 720, "pictures": (*still, *moving)} | more
    return PlayerRecord(radios=(RadioPlayer(**made),))


def beside(size: int = 100, **more: int) -> Beside:
    """Every revision has large pictures and a page of its own."""

    def player(job: JobRecord, most: float) -> PlayerRecord:
        return large_of(job, size, **more) if 48 * size <= most else PlayerRecord(radios=())

    return Beside(player, lambda job: f"{job.job}-r{job.revision}/proof.html")


def test_the_player_gets_the_large_pictures_and_the_strip_the_small_ones(by_hand: ModuleType) -> None:
    job = by_hand.job()
    page = sheet(job.customer, [(job, by_hand.proof(job))], (), beside=beside())
    assert page.count("data:L5A") == 1 and page.count(by_hand.picture(5)) == 1
    assert 'data-number="5" data-base="0" data-left="3" data-top="4"' in page
    assert re.search(r'aria-label="Boot logo"><use href="#\w+L0"', page)
    assert re.search(r'aria-label="Frame 6"><use href="#\w+p5"', page)


def test_large_pictures_of_something_else_are_not_shown(by_hand: ModuleType) -> None:
    """A record that was changed by hand: its logo is no picture, or it has a picture too many."""
    job = by_hand.job()
    page = sheet(job.customer, [(job, by_hand.proof(job))], (), beside=beside(logo=99))
    assert "data:L5A" not in page and by_hand.picture(5) in page


def test_the_newest_jobs_get_large_pictures_while_the_file_has_room(by_hand: ModuleType) -> None:
    jobs = [by_hand.job(job=f"van-{i}", made_at=f"2026-03-0{i}T09:30:00+00:00") for i in (1, 2, 3)]
    shown = [(job, by_hand.proof(job)) for job in jobs]
    page = sheet("Fern Hollow Mobile Library", shown, (), beside=beside(40_000), papers=Papers(sheet_mb=4.5))
    assert page.count("data:L5A") == 2
    assert len(page) < 4_600_000


def test_an_older_revision_keeps_a_still_and_leads_to_its_own_page(by_hand: ModuleType) -> None:
    new, old = by_hand.job(revision=2, made_at="2026-03-02T09:30:00+00:00"), by_hand.job()
    page = sheet(new.customer, [(new, by_hand.proof(new)), (old, by_hand.proof(old))], (), beside=beside())
    folded = page.split('<details class="panel older">')[1]
    assert 'href="./van-two-r1/proof.html"' in folded
    assert folded.count("data:image") == 1, "the picture that stands last"


def test_redrawn_pictures_stand_side_by_side(by_hand: ModuleType) -> None:
    new, old = by_hand.job(revision=2, made_at="2026-03-02T09:30:00+00:00"), by_hand.job()
    drawn = by_hand.radio_proof(new.radios[0])
    frames = (*drawn.frames[:20], by_hand.picture(20, lamp="#ff0000"), *drawn.frames[21:])
    proof = ProofRecord(radios=(drawn.model_copy(update={"frames": frames}),))
    page = sheet(new.customer, [(new, proof), (old, by_hand.proof(old))], ())
    pairs = page.split('<ul class="redrawn">')[1].split("</ul>")[0]
    assert by_hand.picture(20) in pairs and by_hand.picture(20, lamp="#ff0000") in pairs
    assert "Now: picture 21 of part 1" in text_of(pairs)


def test_the_shops_name_and_how_to_reach_it_stand_on_the_sheet(by_hand: ModuleType) -> None:
    job = by_hand.job()
    shop = Letterhead(
        "Lantern & Sons", ("2 Mill Lane", "Fern Hollow"), "0123 456", "shop@example.org", "", "data:image/png;base64,AA"
    )
    page = sheet(job.customer, [(job, by_hand.proof(job))], (), papers=Papers(shop))
    assert "Lantern &amp; Sons" in page and 'src="data:image/png;base64,AA"' in page
    text = text_of(page)
    assert "2 Mill Lane" in text and "answer to shop@example.org" in text
    assert "Lantern" not in by_hand.sheet_of(job)


def test_lines_to_paste_stand_in_a_block_among_the_workshops_findings(by_hand: ModuleType) -> None:
    told = by_hand.refuse("jumpy", "is slow", "under [motion] write:\nfps = 8")
    page = by_hand.sheet_of(by_hand.job().model_copy(update={"reasons": (told,)}))
    assert re.search(r'write:</bdi>\s*<pre class="paste" tabindex="0">fps = 8</pre>', page)
