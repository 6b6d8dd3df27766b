"""The board: its lists, its links, and what it says when the service is paused or stopped."""

from __future__ import annotations

import re
from types import ModuleType

from keyturn.pages.board import _shown, board
from keyturn.shop.state_records import AsideDrop, PlaceCounts, PlacedJob, Ready, Working
from page_text import text_of


def test_the_board_lists_what_waits_runs_is_ready_and_was_refused(by_hand: ModuleType) -> None:
    text = text_of(board(by_hand.state()))
    for fact in (
        "1 in work, 2 waiting, 1 ready",
        "Written 2026-03-01 09:32 UTC",
        "van-five frames 17 of 48",
        "van-four rush 50 files",
        "still being copied",
        "van-two, revision 2",
        'job.toml in custmer: there is no key "custmer"',
    ):
        assert fact in text, fact
    assert "Paused" not in text


def test_the_board_bears_the_shops_name_and_none_where_the_settings_say_none(by_hand: ModuleType) -> None:
    page = board(by_hand.state(), by_hand.LETTERHEAD)
    for fact in by_hand.LETTERHEAD_FACTS:
        assert fact in page
    assert "<address" not in board(by_hand.state())


def test_the_boards_links_are_relative_to_the_outbox(by_hand: ModuleType) -> None:
    page = board(by_hand.state())
    assert 'href="./fern-hollow-mobile-library/van-two-r2/card.html"' in page
    assert 'href="./fern-hollow-mobile-library/proof.html"' in page
    assert 'href="../rejects/van-three/REJECTED.html"' in page


def test_a_refused_drop_of_any_name_is_linked_to(by_hand: ModuleType) -> None:
    refused = by_hand.state().refused[0].model_copy(update={"path": "rejects/a #1? 100%"})
    page = board(by_hand.state(refused=(refused,)))
    # RFC 3986, 3.3: space, #, ? and % cannot stand in a path as they are
    assert 'href="../rejects/a%20%231%3F%20100%25/REJECTED.html"' in page


def test_a_paused_shop_says_why_first(by_hand: ModuleType) -> None:
    text = text_of(board(by_hand.state(paused="No space left on device", running=True)))
    assert text.index("No space left on device") < text.index("In work")


def test_settings_that_were_not_taken_are_told(by_hand: ModuleType) -> None:
    text = text_of(board(by_hand.state(settings_fault="keyturn.toml, line 3: <no number>")))
    assert "The settings stay as they were keyturn.toml, line 3: <no number>" in text
    assert "settings" not in text_of(board(by_hand.state()))


def test_a_drop_of_which_no_frame_is_counted_yet_shows_no_bar(by_hand: ModuleType) -> None:
    waiting, made = (Working(name="van", stage="waiting", done=0, total=total, since="") for total in (0, 7))
    assert "<progress" not in board(by_hand.state(working=(waiting,)))
    assert "<progress" in board(by_hand.state(working=(made,)))


def test_a_hook_that_failed_is_told_of(by_hand: ModuleType) -> None:
    page = board(by_hand.state(hook_faults=("ready: the hook mail ended with code 1: <no network>",)))
    assert "A hook failed at its last run. ready: the hook mail ended with code 1: <no network>" in text_of(page)
    assert "hook" not in text_of(board(by_hand.state()))


def test_a_stopped_service_is_said_to_be_so(by_hand: ModuleType) -> None:
    assert "The service is not running" in board(by_hand.state(running=False))
    assert "The service is not running" not in board(by_hand.state())


def test_the_board_refreshes_itself_without_script_too(by_hand: ModuleType) -> None:
    assert '<meta http-equiv="refresh" content="10">' in board(by_hand.state())


def test_long_lists_on_the_board_are_cut_with_a_count(by_hand: ModuleType) -> None:
    ready = tuple(by_hand.state().ready[0].model_copy(update={"job": f"job-{i}"}) for i in range(1100))
    page = board(by_hand.state(ready=ready, ready_total=5000))
    assert page.count("<tr>") - 1 == 1000
    assert "and 4000 more" in page


def test_a_thousand_waiting_drops_are_a_count_on_the_board(by_hand: ModuleType) -> None:
    waiting = tuple(by_hand.state().waiting[1].model_copy(update={"name": f"van-{i}"}) for i in range(100))
    page = board(by_hand.state(waiting=waiting, waiting_total=1000))
    assert page.count("still being copied") == 40
    assert "and 960 more" in page
    assert "1000 waiting" in page


def test_what_is_set_aside_is_shown_with_what_to_do(by_hand: ModuleType) -> None:
    what, mend = "the service may not read lamps/<0003>.png", "chmod o+r lamps/0003.png"
    drop = AsideDrop(name="van-six", place="work/C/drop", what=what, mend=mend, since="2026-03-01T09:30:00", times=2)
    text = text_of(board(by_hand.state(aside=(drop,))))
    assert f"van-six {what}: {mend} work/C/drop" in text
    assert text.index("Set aside") < text.index("In work")
    assert "Set aside" not in text_of(board(by_hand.state()))


# -- jobs in their places -----------------------------------------------------------------------------


def test_each_job_stands_in_its_place_with_what_was_said(by_hand: ModuleType) -> None:
    page = board(by_hand.state(jobs=by_hand.placed_jobs(5), places=PlaceCounts(change=1, stick=1, fit=400, customer=1)))
    text = text_of(page)
    for fact in (
        "1 in work, 2 waiting, 402 to do",
        "To be changed 1 van-0, revision 1, for Fern Hollow Mobile Library",
        "since 2026-03-02 09:30 UTC: Marta: the lamps are too yellow",
        "To be fitted 400 van-2",
        "and 399 more",
        "Waiting for the customer 1 van-3",
    ):
        assert fact in text, fact
    assert "Ready to collect" not in text
    assert 'src="./c/van-0-r1/held.webp" loading="lazy"' in page and 'href="./c/van-0-r1/card.html"' in page
    assert "<img" not in board(by_hand.state(jobs=by_hand.placed_jobs(5, picture=""), places=PlaceCounts(change=1)))


def test_each_vehicle_of_a_job_has_a_line(by_hand: ModuleType) -> None:
    lines = (
        {"name": "Van 1", "place": "fitted", "since": "2026-03-02T09:30:00+00:00", "said": "by Tobias"},
        {"name": "Van <2>", "place": "stick"},
    )
    jobs = by_hand.placed_jobs(1, vehicles=("Van 1", "Van <2>"), lines=lines)
    page = board(by_hand.state(jobs=jobs, places=PlaceCounts(change=1)))
    assert page.count('role="listitem"') == 2
    text = text_of(page)
    assert "Van 1: fitted, since 2026-03-02 09:30 UTC, by Tobias" in text and "Van <2>: to be put on a stick" in text
    ready = by_hand.state().ready[0].model_copy(update={"vehicles": ("Van 1", "Van <2>")})
    assert "revision 2 Van 1 Van <2>" in text_of(board(by_hand.state(ready=(ready,))))
    assert 'role="list"' not in board(by_hand.state(jobs=by_hand.placed_jobs(1), places=PlaceCounts(change=1)))


def test_a_vehicle_that_the_job_is_named_after_has_a_line_once_there_is_more_to_say_of_it(by_hand: ModuleType) -> None:
    def told(**line: str) -> str:
        jobs = by_hand.placed_jobs(1, job="Van 1", vehicles=("Van 1",), lines=({"name": "Van 1"} | line,))
        return text_of(board(by_hand.state(jobs=jobs, places=PlaceCounts(change=1))))

    assert told().count("Van 1") == told(place="stick").count("Van 1") == 1
    assert "Van 1: fitted, since 2026-03-02 09:30 UTC" in told(place="fitted", since="2026-03-02T09:30:00+00:00")
    ready = by_hand.state().ready[0].model_copy(update={"job": "Van 1", "vehicles": ("Van 1",)})
    assert text_of(board(by_hand.state(ready=(ready,)))).count("Van 1") == 1


def fleet_of_three(jobs: tuple[PlacedJob, ...]) -> tuple[PlacedJob, ...]:
    """The jobs, every second one as a row of one fleet, the last row first."""
    rows = {0: 4, 2: 3, 4: 2}
    told = [{"claim": "c", "drop": "<vans>", "row": rows[n]} if n in rows else {} for n in range(len(jobs))]
    return tuple(job.model_copy(update={"place": "fit", **more}) for job, more in zip(jobs, told, strict=True))


def test_the_jobs_of_a_fleet_stand_together_below_the_drops_name_in_the_order_of_its_rows(by_hand: ModuleType) -> None:
    jobs = fleet_of_three(by_hand.placed_jobs(6))
    page = board(by_hand.state(jobs=jobs, places=PlaceCounts(fit=6)))
    text = text_of(page)
    places = [
        text.index(fact) for fact in ("To be fitted 6", "<vans> 3 jobs", "van-4", "van-2", "van-0", "van-1", "van-3")
    ]
    assert places == sorted(places) and page.count("<section data-fleet") == 1
    ready = tuple(Ready.model_validate(job.model_dump(include=set(Ready.model_fields))) for job in jobs)
    text = text_of(board(by_hand.state(ready=ready)))
    assert text.index("<vans> 3 jobs") < text.index("van-4") < text.index("van-0") < text.index("van-1")
    assert "<tbody data-fleet" not in board(by_hand.state())


def test_what_is_no_longer_listed_is_counted(by_hand: ModuleType) -> None:
    text = text_of(board(by_hand.state(places=PlaceCounts(fitted_earlier=1, quiet=4000))))
    assert "No job is on its way." in text and "1 job fitted earlier." in text
    assert "4,000 jobs made over 90 days ago, of which nobody has said anything." in text


def test_a_shop_in_which_nobody_says_anything_sees_one_list(by_hand: ModuleType) -> None:
    page = board(by_hand.state())
    assert "Ready to collect 1" in text_of(page) and "data-place" not in page and "<form" not in page


def test_a_thousand_rows_are_shared_out_among_the_places(by_hand: ModuleType) -> None:
    """Short lists are whole; the long ones share what is left evenly."""
    jobs = by_hand.placed_jobs(15)
    many = tuple(job for job in jobs for _ in range(300 if job.place in ("fit", "customer") else 1))
    page = board(by_hand.state(jobs=many, places=PlaceCounts(fit=900, customer=900, change=3, stick=3, fitted=3)))
    assert page.count("<b>") == 1000
    assert sorted(re.findall(r"and (\d+) more", page)) == ["404", "405"]


def test_rows_that_stay_are_not_made_again(by_hand: ModuleType) -> None:
    """The page is written every few seconds while work goes on."""
    jobs = by_hand.placed_jobs(10)
    state = by_hand.state(jobs=jobs, places=PlaceCounts(change=2))
    board(state)
    misses = _shown.cache_info().misses
    board(state.model_copy(update={"jobs": jobs[:1] + jobs[1:]}))
    assert _shown.cache_info().misses == misses
    board(state.model_copy(update={"jobs": (jobs[0].model_copy(update={"said": "else"}), *jobs[1:])}))
    assert _shown.cache_info().misses == misses + 1


def test_hostile_words_of_a_slip_are_text(by_hand: ModuleType) -> None:
    page = board(by_hand.state(jobs=by_hand.placed_jobs(5, said=by_hand.HOSTILE), places=PlaceCounts(change=1)))
    assert "<script>alert" not in page and "&lt;script&gt;alert" in page
