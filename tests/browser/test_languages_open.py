"""Sheet, card and rejects page in every language: they fit a phone, and Arabic reads from right to left."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from keyturn.pages.card import cards
from keyturn.pages.languages import catalogue_file
from keyturn.pages.rejects import rejected_html
from keyturn.pages.sheet import sheet
from keyturn.shop import rulebook
from keyturn.shop.language_codes import LANGUAGES, LanguageCode
from keyturn.shop.papers import Letterhead, Papers

pytestmark = pytest.mark.browser

Open = Callable[..., Any]
PAGES = ("sheet", "card", "rejected")
OUTSIDE = """() => [...document.querySelectorAll("body *")].filter(function (element) {
  const box = element.getBoundingClientRect();
  const aside = element.closest(".skip, .scroll, .store, svg");
  return !aside && box.width > 0 && (box.left < -1 || box.right > document.documentElement.clientWidth + 1);
}).map((element) => element.outerHTML.slice(0, 100))"""


def made_in(made: ModuleType, code: LanguageCode, name: str) -> str:
    rules, letterhead = rulebook.load(), Letterhead("Lantern Row Radio", mail="shop@example.org", language=code)
    old = made.job(made.radio(fps=10))
    new = made.job(made.radio(), made.radio("wide-1024x600", (1024, 600)), revision=2)
    if name == "sheet":
        shown = [(new, made.proof(new)), (old, made.proof(old))]
        return sheet(new.customer, shown, rules.safety.cautions.sheet, papers=Papers(letterhead))
    if name == "card":
        return cards(new, rules.radios, rules.safety.cautions.card, made.proof(new), letterhead)
    return rejected_html(made.rejection(), letterhead)


def longest() -> LanguageCode:
    """Return the language whose sentences have most letters, and so have the hardest time on a phone."""
    lengths = {code: catalogue_file(code).stat().st_size for code in LANGUAGES if code not in ("en", "ar")}
    return max(lengths, key=lambda code: lengths[code])


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("code", [longest(), "ar"])
def test_a_page_fits_a_phone_in_the_longest_language_and_in_arabic(
    opened: Open, by_hand: ModuleType, code: LanguageCode, name: str
) -> None:
    """With all that is folded opened; 360 px is a small phone of today. The fixture fails on faults in the console."""
    page = opened(made_in(by_hand, code, name), width=360, height=780).page
    page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    assert page.evaluate(OUTSIDE) == []


def test_arabic_reads_from_right_to_left_and_codes_from_left_to_right(opened: Open, by_hand: ModuleType) -> None:
    page = opened(made_in(by_hand, "ar", "card"), width=1000).page
    title = page.locator("h1").bounding_box()
    hole = page.evaluate("getComputedStyle(document.querySelector('.tag')).direction")
    assert (page.locator("html").get_attribute("lang"), hole) == ("ar", "rtl")
    assert title["x"] + title["width"] > 900
    # where each letter of a folder's name stands: CSSOM View, the boxes of a range
    letters = """() => { const node = document.querySelector("nav bdi.code").firstChild, at = [];
      for (let i = 0; i < node.length; i++) { const range = document.createRange(); range.setStart(node, i);
        range.setEnd(node, i + 1); at.push(range.getBoundingClientRect().left); } return at; }"""
    places = page.evaluate(letters)
    assert places == sorted(places)
    assert len(places) == len("usb/")


@pytest.mark.parametrize("code", ["de", "ar"])
def test_the_player_speaks_the_pages_language(opened: Open, by_hand: ModuleType, code: LanguageCode) -> None:
    page = opened(made_in(by_hand, code, "sheet")).page
    player = page.locator(".player").first
    play, paused = {"de": ("Abspielen", "Anhalten"), "ar": ("تشغيل", "إيقاف مؤقت")}[code]
    assert player.locator("[data-play]").inner_text() == play
    player.locator("[data-play]").click()
    assert player.locator("[data-play]").inner_text() == paused
    player.locator("summary").click()
    player.locator("[data-seconds]").first.click()
    number = {"de": "16,0", "ar": "16.0"}[code]  # Unicode CLDR: decimal signs
    assert number in player.locator("[data-boot-now]").inner_text()
    assert number in player.locator("[data-caption]").inner_text()


@pytest.mark.parametrize("code", ["de", "ar"])
def test_axe_finds_nothing_in_other_languages(opened: Open, by_hand: ModuleType, code: LanguageCode) -> None:
    """axe-core is the common checker of WCAG rules. KEYTURN_AXE names its axe.min.js (npm install axe-core)."""
    axe = os.environ.get("KEYTURN_AXE")
    if not axe:
        pytest.skip("KEYTURN_AXE does not name an axe.min.js")
    page = opened(made_in(by_hand, code, "sheet")).page
    page.evaluate(Path(axe).read_text(encoding="utf-8") + "; null")
    found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']})")
    assert [(v["id"], [n["html"][:90] for n in v["nodes"][:3]]) for v in found["violations"]] == []
