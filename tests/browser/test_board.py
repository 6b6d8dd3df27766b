"""The board in a browser: its search and filters, and what outlives the reload every ten seconds."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from keyturn.pages.board import board
from keyturn.shop.state_records import PLACES, PlaceCounts

pytestmark = pytest.mark.browser
Open = Callable[..., Any]


@pytest.fixture
def page_of(by_hand: ModuleType) -> Callable[..., str]:
    def made(most: int = 30, picture: str = "") -> str:
        jobs = by_hand.placed_jobs(most, picture=picture)
        counts = PlaceCounts(**{place: sum(job.place == place for job in jobs) for place in PLACES})
        return board(by_hand.state(jobs=jobs, places=counts, at=datetime.now(UTC).isoformat()))

    return made


def rows(page: Any) -> list[str]:
    """The jobs that are to be seen. A row that Chromium has not drawn yet has no inner text, so its content is read."""
    shown = page.locator("[data-rows] > *:visible b, [data-rows] > tr:visible th")
    return [text.strip().partition(",")[0] for text in shown.all_text_contents()]


def test_it_finds_and_filters_and_says_how_many(opened: Open, page_of: Callable[..., str]) -> None:
    page = opened(page_of()).page
    assert len(rows(page)) == 30
    page.locator("[name=q]").fill("VAN-7  quarry")
    assert rows(page) == ["van-7"] and page.get_by_role("status").inner_text() == "1 job fits."
    page.locator("[name=q]").fill("van-7 fern")
    assert rows(page) == [] and page.get_by_role("status").inner_text() == "0 jobs fit."
    page.locator("[name=q]").fill("Marta")
    assert set(rows(page)) == {f"van-{n}" for n in range(0, 30, 5)}
    assert page.get_by_role("status").inner_text() == "6 jobs fit."
    assert page.get_by_role("heading", level=2).filter(has_text="To be changed").inner_text() == "To be changed 6 of 6"
    page.locator("[name=q]").fill("")
    page.locator("[name=place]").select_option("To be fitted")
    page.locator("[name=radio]").select_option("wide-1024x600")
    assert set(rows(page)) == {"van-7", "van-17", "van-27"}
    page.locator("[name=customer]").select_option("Quarry Bakery")
    assert set(rows(page)) == {"van-7", "van-17", "van-27"}
    page.locator("[name=q]").press("Enter")  # the policy forbids to send a form


def test_a_fleet_is_found_by_its_drops_name_and_hidden_with_its_jobs(opened: Open, by_hand: ModuleType) -> None:
    jobs = [job.model_copy(update={"place": "fit"}) for job in by_hand.placed_jobs(10, picture="")]
    fleet = [job.model_copy(update={"claim": "c", "drop": "six vans", "row": n + 2}) for n, job in enumerate(jobs[4:])]
    state = by_hand.state(jobs=(*jobs[:4], *fleet), places=PlaceCounts(fit=10), at=datetime.now(UTC).isoformat())
    page = opened(board(state)).page
    assert len(rows(page)) == 10
    page.locator("[name=q]").fill("six vans")
    assert rows(page) == [f"van-{n}" for n in range(4, 10)]
    assert page.get_by_role("heading", level=2).filter(has_text="To be fitted").inner_text() == "To be fitted 6 of 10"
    page.locator("[name=q]").fill("van-1")
    assert rows(page) == ["van-1"] and not page.get_by_role("heading", name="six vans").is_visible()


def test_accents_do_not_matter_to_the_search(opened: Open, page_of: Callable[..., str]) -> None:
    page = opened(page_of().replace("Quarry Bakery", "Backstube Mühlbach")).page
    page.locator("[name=q]").fill("muhl")
    assert len(rows(page)) == 15


def test_search_filters_and_cursor_outlive_a_reload(opened: Open, page_of: Callable[..., str]) -> None:
    page = opened(page_of()).page
    page.get_by_label("keep still").check()
    page.locator("[name=place]").select_option("fit")
    page.locator("[name=q]").press_sequentially("van-2")
    page.keyboard.press("ArrowLeft")
    before = rows(page)
    page.wait_for_function("history.state && history.state.cursor && history.state.cursor.start === 4")
    page.reload()
    assert rows(page) == before == ["van-2", "van-22", "van-27"]
    assert page.locator("[name=q]").input_value() == "van-2" and page.get_by_label("keep still").is_checked()
    page.keyboard.type("x")
    assert page.locator("[name=q]").input_value() == "van-x2"


def test_a_filter_of_which_nothing_is_left_is_still_shown(opened: Open, page_of: Callable[..., str]) -> None:
    page = opened(page_of()).page
    page.evaluate("location.hash = '#customer=Alder%20Lane'")
    page.reload()
    assert page.locator("[name=customer]").input_value() == "Alder Lane" and rows(page) == []


def test_it_comes_back_to_the_row_that_was_in_sight(opened: Open, page_of: Callable[..., str]) -> None:
    """On a phone, with rows of which most have never been drawn; the page reloads itself."""
    page = opened(page_of(300).replace('data-refresh="10"', 'data-refresh="4"'), width=390, height=844).page
    page.evaluate("scrollTo(0, 20000)")
    seen = "() => document.elementFromPoint(200, 280).closest('li').querySelector('b').textContent"
    page.wait_for_timeout(300)
    before = page.evaluate(seen)
    with page.expect_navigation():
        page.wait_for_timeout(1)
    page.wait_for_function(f"({seen})() === '{before}'")


def test_without_a_script_it_is_a_plain_list(opened: Open, page_of: Callable[..., str]) -> None:
    page = opened(page_of(), java_script_enabled=False).page
    assert len(rows(page)) == 30 and not page.locator("[name=q]").is_visible()


def test_the_list_of_a_shop_without_places_is_searched_too(opened: Open, by_hand: ModuleType) -> None:
    ready = tuple(by_hand.state().ready[0].model_copy(update={"job": f"job-{n}"}) for n in range(20))
    page = opened(board(by_hand.state(ready=ready, at=datetime.now(UTC).isoformat()))).page
    page.locator("[name=q]").fill("job-1")
    assert len(rows(page)) == 11
    assert page.locator("[name=place]").count() == 0


def test_held_frames_are_files_beside_the_board(opened: Open, page_of: Callable[..., str], tmp_path: Path) -> None:
    from keyturn.package.held_picture import held_picture
    from page_records import job, proof

    data = held_picture(proof(job()))
    for number in range(10):
        (tmp_path / f"c/van-{number}-r1").mkdir(parents=True)
        (tmp_path / f"c/van-{number}-r1" / "held.webp").write_bytes(data)
    page = opened(page_of(10, "held.webp"), height=4000).page
    page.wait_for_function("[...document.images].length === 10 && [...document.images].every(i => i.naturalWidth > 0)")


@pytest.mark.parametrize("width", [1280, 390, 320])
def test_it_fits_the_window(opened: Open, page_of: Callable[..., str], by_hand: ModuleType, width: int) -> None:
    page = opened(page_of(), width=width, height=844).page
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing_against_wcag(opened: Open, page_of: Callable[..., str], scheme: str, width: int) -> None:
    axe = os.environ.get("KEYTURN_AXE")
    if not axe:
        pytest.skip("KEYTURN_AXE does not name an axe.min.js")
    page = opened(page_of(), width=width, color_scheme=scheme).page
    page.evaluate(Path(axe).read_text(encoding="utf-8") + "; null")
    found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']})")
    assert [(v["id"], [n["html"][:90] for n in v["nodes"][:3]]) for v in found["violations"]] == []
