"""A language has its own sentences, numbers, dates and plurals; English reads as it is written in the code."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from html.parser import HTMLParser
from types import ModuleType

import pytest
from babel.dates import format_date
from babel.numbers import format_decimal
from markupsafe import Markup

from keyturn.pages.answer import Told
from keyturn.pages.card import cards, install_text
from keyturn.pages.labels import labels_of, labels_page
from keyturn.pages.languages import ENGLISH, Language, language_of, language_of_customer
from keyturn.pages.rejects import rejected_html
from keyturn.pages.sheet import Beside, sheet
from keyturn.shop import rulebook
from keyturn.shop.language_codes import LANGUAGES
from keyturn.shop.papers import Letterhead, Papers

OTHERS = [code for code in LANGUAGES if code != "en"]


def test_english_is_the_sentence_itself() -> None:
    assert ENGLISH.gettext("Part %(n)s of 100 %%", n=3) == "Part 3 of 100 %"
    assert ENGLISH.ngettext("%(num)s frame", "%(num)s frames", 1) == "1 frame"
    assert ENGLISH.ngettext("%(num)s frame", "%(num)s frames", 1200) == "1,200 frames"


@pytest.mark.parametrize("code", OTHERS)
def test_a_sentence_without_translation_still_shows(code: str) -> None:
    assert language_of(code).gettext("Nobody has translated %(what)s.", what="this") == "Nobody has translated this."


def test_a_language_that_is_not_known_is_english() -> None:
    assert language_of("xx") is ENGLISH
    assert language_of("../../etc") is ENGLISH


@pytest.mark.parametrize("code", OTHERS)
def test_numbers_and_dates_are_those_of_cldr(code: str) -> None:
    language = language_of(code)
    # the Unicode CLDR, as Babel carries it
    assert language.decimal(12345.678, 1) == format_decimal(12345.7, locale=code)
    assert language.day("2026-03-01T09:30:00") == format_date(datetime.date(2026, 3, 1), "long", locale=code)
    assert language.day("not a day") == "not a day"
    assert language.moment("2026-03-01T23:30:00-02:00").endswith("01:30 UTC")


def test_a_number_that_is_whole_has_no_separator_at_its_end() -> None:
    assert language_of("de").decimal(48) == "48"
    assert language_of("de").decimal(48, 1) == "48,0"


def test_only_right_to_left_languages_isolate_names() -> None:
    assert Language("ar").direction == "rtl"
    # Unicode Bidirectional Algorithm (UAX 9), 2.4: FIRST STRONG ISOLATE and POP DIRECTIONAL ISOLATE
    assert Language("ar").isolated("desc.txt") == "\u2068desc.txt\u2069"
    assert Language("de").isolated("desc.txt") == "desc.txt"


def test_a_customers_sheet_is_in_the_language_that_was_named_last() -> None:
    assert language_of_customer([("2026-03-01", "fr"), ("2026-03-03", None), ("2026-03-02", "pl")], "de").code == "pl"
    assert language_of_customer([("2026-03-01", None)], "de").code == "de"
    assert language_of_customer([("2026-03-01", "xx")], "de").code == "en"


# -- nothing is left in English ----------------------------------------------------------------------

NAMES = set("Fern Hollow Mobile Library Ines Lantern Row Radio Tall panel tall wide van-two van-three".split())
NAMES |= set("lamps hold rest frame abababababab SHA WCAG FAT UTC PNG JPEG MiB usb inbox Enter png".split())
NAMES |= set("customer custmer".split())  # keys of job.toml
NAMES |= set("desc.txt bootanimation.zip logo.png hold.png job.toml REJECTED.txt REJECTED.json".split())
"""What people, files and standards are called, and one figure of a record of before that stays as it was written."""


class Read(HTMLParser):
    """What is read on a page, texts and names of pictures alike, but for what is marked as English and for codes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[tuple[str, bool]] = []
        self.texts: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if not any(left_out for _, left_out in self.open):
            self.texts += [named[key] or "" for key in ("alt", "aria-label", "title") if key in named]
        if tag not in ("img", "br", "meta", "link", "input", "hr"):
            aside = tag in ("script", "style") or named.get("lang") == "en" or "code" in (named.get("class") or "")
            self.open.append((tag, aside))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not any(left_out for _, left_out in self.open):
            self.texts.append(data)


def english_words(text: str) -> set[str]:
    return set(re.findall(r"[A-Za-z][A-Za-z]{2,}", text)) - {part for name in NAMES for part in re.split(r"\W", name)}


def test_no_english_word_is_left_on_an_arabic_page(by_hand: ModuleType) -> None:
    """Arabic has letters of its own, so what was not translated stands out."""
    arabic = Letterhead("Lantern Row Radio", language="ar")
    rules = rulebook.load()
    tall = rules.radios["tall-768x1024"]
    parts = (by_hand.part("lamps", 48, count=3, pause=6, pause_s=0.5), by_hand.part("hold", 1, count=0))
    late = by_hand.timeline(delay_s=1.2, later_interval_s=0.05, generations=("third", "fourth"))
    old = by_hand.job(by_hand.radio(fps=10))
    new = by_hand.job(by_hand.radio(parts=parts, timeline=late), by_hand.radio("wide-1024x600"), revision=2)
    told = Told("fern-hollow-mobile-library/van-two-r2", "ab" * 32, ())
    shown = [(new, by_hand.proof(new)), (old, by_hand.proof(old))]
    beside = Beside(told=lambda record: told)
    cautions = rules.safety.cautions
    pages = {
        "sheet": sheet(new.customer, shown, cautions.sheet, 3, beside=beside, papers=Papers(arabic)),
        "card": cards(new, rules.radios, cautions.card, by_hand.proof(new), arabic),
        "rejected": rejected_html(by_hand.rejection(), arabic),
    }
    vans, a4 = new.model_copy(update={"vehicles": ("1", "2")}), rules.labels.sheets["a4-8"]
    pages["card of vehicles"] = cards(vans, rules.radios, cautions.card, letterhead=arabic)
    made = [replace(label, code=Markup()) for label in labels_of(vans, "ab" * 32, "van-two-r2")]
    pages["labels"] = labels_page(vans.job, made, a4, rules.labels.papers["a4"], letterhead=arabic)
    left = {name: english_words(" ".join(Read(page).texts)) for name, page in pages.items()}
    left["INSTALL.txt"] = english_words(install_text(new, new.radios[0], tall, cautions.card, arabic))
    assert {name: words for name, words in left.items() if words} == {}
