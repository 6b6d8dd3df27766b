"""The pages in a browser: they open without faults, fit every window, fold, print and work with the keyboard."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from keyturn.pages.board import board
from keyturn.pages.card import cards
from keyturn.pages.rejects import rejected_html
from keyturn.pages.sheet import Beside, sheet
from keyturn.shop import rulebook
from keyturn.shop.papers import Letterhead, Papers
from keyturn.shop.reasons import Exhibit, note

pytestmark = pytest.mark.browser

KINDS = ["sheet", "board", "card", "rejected", "look", "refused-look"]
NAMES = [*KINDS, *(f"hostile-{kind}" for kind in KINDS)]
Open = Callable[..., Any]


@pytest.fixture(scope="module")
def pages(by_hand: ModuleType) -> dict[str, str]:
    calm = _pages(by_hand, "Fern Hollow Mobile Library")
    return calm | {f"hostile-{name}": page for name, page in _pages(by_hand, by_hand.HOSTILE).items()}


def _pages(made: ModuleType, name: str) -> dict[str, str]:
    radios = made.radio(title=name), made.radio("wide-1024x600", (1024, 600), title=name)
    old = made.job(customer=name, job=name)
    new = made.job(*radios, customer=name, job=name, revision=2, made_at="2026-03-02T09:30:00+00:00")
    ready = made.state().ready[0].model_copy(update={"customer": name, "job": name, "radios": (name,)})
    odd = made.refuse("odd", name, name, file=name, field=name)
    shop = Letterhead(name, (name, name), name, "shop@example.org", "https://example.org", made.picture(0))
    cautions, papers = (*made.CAUTIONS, name), Papers(shop)
    shown = Exhibit(name=name, kept=(0.2, 0, 0.8, 1)), Exhibit(name=f"{name}, frame 2", marked=(0.5, 0.5, 1, 1))
    seen = note("cut", name, f'{name}:\nfit = "contain"', file=name, exhibits=shown)
    drawn = {exhibit.name: made.picture(number) for number, exhibit in enumerate(shown)}
    look = Beside(look=True, exhibits=drawn)
    looked = new.model_copy(update={"reasons": (seen,)})
    refused = made.rejection(drop=name, customer=name, reasons=(*made.reasons(), odd, seen), pictures=drawn)
    return {
        "sheet": sheet(name, [(new, made.proof(new)), (old, made.proof(old))], cautions, papers=papers),
        "look": sheet(name, [(looked, made.proof(looked))], cautions, papers=papers, beside=look),
        "refused-look": rejected_html(refused, shop, look=True),
        "board": board(made.state(paused=name, ready=(ready,), at=datetime.now(UTC).isoformat()), shop),
        "card": cards(new, rulebook.load().radios, cautions, made.proof(new), shop),
        "rejected": rejected_html(made.rejection(drop=name, customer=name, reasons=(*made.reasons(), odd)), shop),
    }


def overflow(page: Any) -> int:
    width: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return width


@pytest.mark.parametrize("name", NAMES)
def test_a_page_opens_without_faults_and_fits_phone_and_laptop(opened: Open, pages: dict[str, str], name: str) -> None:
    """The fixture fails on faults and requests to the network. 320 px: WCAG 2.2, success criterion 1.4.10."""
    page = opened(pages[name], width=1280).page
    for width in (1280, 390, 320):
        page.set_viewport_size({"width": width, "height": 844})
        assert overflow(page) <= 0, width


@pytest.mark.parametrize("name", NAMES)
def test_a_page_prints_within_its_margins(opened: Open, pages: dict[str, str], name: str) -> None:
    page = opened(pages[name], width=700).page  # A4 within margins of 12 mm: 186 mm, 703 px at 96 to the inch
    page.emulate_media(media="print")
    assert overflow(page) <= 0
    for paper in ("A4", "Letter"):
        pdf = page.pdf(format=paper)
        # ISO 32000-1, 7.7.3.2: the page tree's root holds the number of leaves
        assert int(re.findall(rb"/Count (\d+)", pdf)[0]) >= 1


def printed_pages(page: Any, paper: str = "A4") -> int:
    """Return how many pages are printed (ISO 32000-1, 7.7.3.3: each is a page object), with the page's own margins."""
    return len(re.findall(rb"/Type /Page\b", page.pdf(format=paper, prefer_css_page_size=True)))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("size", [(768, 1024), (1024, 600)])
def test_a_card_is_one_page_for_each_radio(
    opened: Open, by_hand: ModuleType, paper: str, size: tuple[int, int]
) -> None:
    """With the cautions that ship, all steps, "go back to stock" and both pictures."""
    rules = rulebook.load()
    wide = by_hand.radio("wide-1024x600", size, folder="usb-wide-1024x600")
    for radios in ([wide], [wide, by_hand.radio()]):
        job = by_hand.job(*radios)
        proof = by_hand.proof(job, (size[0] // 8, size[1] // 8))
        page = opened(cards(job, rules.radios, rules.safety.cautions.card, proof)).page
        assert page.get_by_text("go back to stock").last.is_visible() and page.locator(".still").last.is_visible()
        assert printed_pages(page, paper) == len(radios)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("language", ["en", "ar"])
def test_a_card_is_one_page_for_each_vehicle(opened: Open, by_hand: ModuleType, paper: str, language: str) -> None:
    rules, vans = rulebook.load(), ("Van 1", "Van 2", "Van 3")
    job = by_hand.job(vehicles=vans)
    shop = Letterhead("Lantern Row Radio", ("2 Mill Lane",), "555-0100", language=language)
    page = opened(cards(job, rules.radios, rules.safety.cautions.card, by_hand.proof(job), shop)).page
    page.get_by_role("link", name="Van 3").click()
    assert page.get_by_role("heading", name="Van 3").is_visible()
    assert page.locator(".warn").count() == 3 and not page.locator(".warn").last.is_visible()
    assert printed_pages(page, paper) == len(vans)
    page.emulate_media(media="print")
    assert page.locator(".warn").last.is_visible()


def test_one_job_of_a_sheet_is_shown_and_printed_alone(opened: Open, by_hand: ModuleType) -> None:
    jobs = [by_hand.job(job=f"van-{number}", artist=None) for number in range(5)]
    made = sheet("Fern Hollow Mobile Library", [(job, by_hand.proof(job)) for job in jobs], by_hand.CAUTIONS)
    page = opened(made, java_script_enabled=False).page
    whole = printed_pages(page)
    page.emulate_media(media="print")
    assert not page.get_by_text("alone, to print").first.is_visible()
    page.emulate_media(media="null")  # as it would be
    page.get_by_role("listitem").filter(has_text="van-3").get_by_role("link", name="alone, to print").click()
    headings = page.get_by_role("heading", level=2)
    assert [text for text in headings.all_inner_texts() if "van-" in text] == ["van-3 revision 1"]
    assert page.get_by_text("Please mind").is_visible()
    alone = sheet("Fern Hollow Mobile Library", [(jobs[3], by_hand.proof(jobs[3]))], by_hand.CAUTIONS)
    assert printed_pages(page) == printed_pages(opened(alone).page) < whole / 3
    page.get_by_role("link", name="Show all jobs of this sheet").click()
    assert printed_pages(page) == whole
    assert not page.get_by_role("link", name="Show all jobs of this sheet").is_visible()


def test_the_printed_sheet_shows_stills_and_lines_to_sign_and_no_controls(opened: Open, pages: dict[str, str]) -> None:
    page = opened(pages["sheet"]).page
    assert page.locator(".player").first.is_visible()
    page.emulate_media(media="print")
    assert not page.locator(".player").first.is_visible()
    assert page.locator("figure .still").first.is_visible()
    assert page.get_by_text("Signature").first.is_visible()


def test_the_sheet_says_the_essentials_without_script(opened: Open, pages: dict[str, str]) -> None:
    page = opened(pages["sheet"], java_script_enabled=False).page
    assert not page.locator(".player").first.is_visible()
    for words in ("Boot logo", "What you will see", "How sure is that?", "Flashing light", "Signature", "Please mind"):
        assert page.get_by_text(words).first.is_visible(), words
    assert not page.get_by_text("Film strip", exact=True).first.is_visible()
    page.locator("details.workshop > summary").click()
    for words in ("Film strip", "Does it finish in time?", "What was mended"):
        assert page.get_by_text(words, exact=True).first.is_visible(), words
    strip = page.locator(".cells").first
    assert strip.get_by_role("img").count() == 48


def test_older_revisions_fold_and_unfold(opened: Open, pages: dict[str, str]) -> None:
    page = opened(pages["sheet"]).page
    older = page.locator("details.older")
    assert not older.locator("dl").first.is_visible()
    older.locator("summary").click()
    assert older.locator("dl").first.is_visible()
    older.locator("summary").press("Enter")
    assert not older.locator("dl").first.is_visible()


def test_dark_and_light_follow_the_readers_system(opened: Open, pages: dict[str, str]) -> None:
    paper = "getComputedStyle(document.body).backgroundColor"
    light = opened(pages["sheet"], color_scheme="light").page.evaluate(paper)
    dark = opened(pages["sheet"], color_scheme="dark").page.evaluate(paper)
    assert sum(map(int, re.findall(r"\d+", dark))) < 150 < 600 < sum(map(int, re.findall(r"\d+", light)))


def test_the_keyboard_reaches_the_contents_first_and_then_the_controls(opened: Open, pages: dict[str, str]) -> None:
    page = opened(pages["sheet"]).page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the contents"
    seen = []
    for _ in range(7):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("document.activeElement.textContent || document.activeElement.type"))
    of_shop = ["shop@example.org", "shop@example.org", "https://example.org"]
    assert seen == [*of_shop, "Print this sheet", "Play", "range", "Try a shorter or a longer start"]


# -- the board --------------------------------------------------------------------------------------


def aged(by_hand: ModuleType, minutes: float) -> str:
    return board(by_hand.state(at=(datetime.now(UTC) - timedelta(minutes=minutes)).isoformat(timespec="seconds")))


def test_an_old_board_warns_that_the_service_may_be_stopped(opened: Open, by_hand: ModuleType) -> None:
    assert not opened(aged(by_hand, 1)).page.get_by_role("alert").is_visible()
    alert = opened(aged(by_hand, 5)).page.get_by_role("alert")
    assert re.fullmatch("This page was written [56] minutes ago: the service may be stopped.", alert.inner_text())


def test_the_board_loads_itself_again_unless_it_is_to_keep_still(opened: Open, by_hand: ModuleType) -> None:
    """The page's ten seconds are shortened to 0.2: the test is that it reloads, not when."""
    quick = board(by_hand.state(at=datetime.now(UTC).isoformat())).replace('data-refresh="10"', 'data-refresh="0.2"')
    page = opened(quick).page
    with page.expect_navigation():
        page.wait_for_timeout(1)
    page.get_by_label("keep still").check()
    page.wait_for_timeout(300)  # a load that was under way may still come
    page.evaluate("window.mark = 1")
    page.wait_for_timeout(800)
    assert page.evaluate("window.mark") == 1
    page.reload()
    assert page.get_by_label("keep still").is_checked()


# -- an outside judge of accessibility --------------------------------------------------------------


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["sheet", "board", "card", "rejected"])
def test_axe_finds_nothing_against_wcag(opened: Open, pages: dict[str, str], name: str, scheme: str) -> None:
    """axe-core is the common checker of WCAG rules. KEYTURN_AXE names its axe.min.js (npm install axe-core)."""
    axe = os.environ.get("KEYTURN_AXE")
    if not axe:
        pytest.skip("KEYTURN_AXE does not name an axe.min.js")
    page = opened(pages[name], color_scheme=scheme).page
    page.evaluate(Path(axe).read_text(encoding="utf-8") + "; null")
    found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']})")
    assert [(v["id"], [n["html"][:90] for n in v["nodes"][:3]]) for v in found["violations"]] == []
