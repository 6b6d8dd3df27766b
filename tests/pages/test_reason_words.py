"""A reason is read in the page's language: its sentence is found by its words, and its values are kept."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import reason_sentences
from keyturn.manifest.reading import parse_leniently
from keyturn.pages import catalogues
from keyturn.pages.languages import ENGLISH, Language, language_of
from keyturn.pages.reason_words import Sentence, told
from keyturn.shop.language_codes import LANGUAGES
from keyturn.shop.reasons import Reason, Refused
from reason_texts import Reader

GERMAN = language_of("de")
OTHERS = [code for code in LANGUAGES if code != "en"]


def words(text: str, language: Language = GERMAN) -> str:
    return told(text, language).words


def test_a_sentence_is_read_in_the_language_of_the_page_with_its_values() -> None:
    told_ = told("use at most 8 levels", GERMAN)

    assert told_.code == "de"
    assert "8" in told_.words
    assert "levels" not in told_.words


def test_english_stays_as_it_is() -> None:
    assert told("use at most 8 levels", ENGLISH) == told("use at most 8 levels", language_of("xx"))
    assert told("use at most 8 levels", ENGLISH).words == "use at most 8 levels"


@pytest.mark.parametrize("text", ["a sentence of a newer Keyturn", "is that which nobody wrote", "", "100 % of it"])
def test_what_no_sentence_fits_stays_english_and_says_so(text: str) -> None:
    assert told(text, GERMAN) == told(text, ENGLISH)


def test_a_value_that_is_a_sentence_is_translated_too() -> None:
    english = "is damaged: it breaks off after 3 whole frames (and 4 more like it)"
    german = words(english)

    assert not {"damaged", "breaks", "whole", "more"} & set(german.replace("(", " ").split())
    assert "3" in german
    assert "4" in german


def test_a_sentence_behind_the_name_of_a_radio_is_found() -> None:
    assert words("tall-768x1024: use at most 8 levels") == f"tall-768x1024: {words('use at most 8 levels')}"


def test_a_mend_that_says_where_to_paste_lines_is_whole() -> None:
    german = words("to show all of it, with margins, write at the top of job.toml, instead of any fit there:")
    assert not {"write", "instead", "margins,"} & set(german.split())


def test_what_stands_in_quotes_is_somebody_s_own_and_is_kept() -> None:
    assert '"unpack it"' in words('"unpack it" is not in the drop')


def test_a_percent_sign_and_markup_in_a_name_are_kept() -> None:
    assert '"50 %(v1)s <b>.png"' in words('"50 %(v1)s <b>.png" is not in the drop')


def test_the_sentence_with_most_fixed_letters_is_taken() -> None:
    assert words("has more than 40 frames") == words("has more than 41 frames").replace("41", "40")
    general, exact = Sentence.read("%(v1)s x %(v2)s", ""), Sentence.read("is %(v1)s x %(v2)s px", "")
    assert exact.fixed > general.fixed


def test_names_on_a_page_from_right_to_left_are_isolated() -> None:
    """Unicode Bidirectional Algorithm, 2.4: U+2068 and U+2069 keep a name from turning what is beside it."""
    assert "\u2068lamp 1.png\u2069" in words('"lamp 1.png" is not in the drop', language_of("ar"))


@pytest.mark.parametrize("code", OTHERS)
@settings(deadline=None)  # the first text of a language waits for its catalogue
@given(st.text(max_size=60))
def test_any_text_can_be_told(code: str, text: str) -> None:
    assert told(text, language_of(code)).code in (code, "en")


def test_the_list_of_sentences_is_that_of_the_code() -> None:
    """`python tests/reason_sentences.py` writes it anew."""
    assert catalogues.REASON_SENTENCES.read_text(encoding="utf-8").splitlines() == reason_sentences.sentences()


def filled(text: str) -> str:
    """Return a text of tests/reason_texts.py with a number for each thing that varies."""
    return text.split("\n")[0].replace("…", "7")


def test_every_reason_of_a_page_has_its_sentence() -> None:
    """Those whose whole text varies are looked at in the tests below."""
    pages = [made for made in Reader().all() if not made.where.startswith(reason_sentences.ONLY_COMMANDS)]
    texts = {text for made in pages for text in (*made.what, *made.mend)}
    english = [
        text for text in texts if len(text.replace("…", "").strip()) > 3 and told(filled(text), GERMAN).code == "en"
    ]

    assert english == []


MANIFESTS = (
    'radio = "tiny"\n',
    'customer = 7\nradio = "tiny"\n',
    'customer = "Fern Hollow"\nradio = "tiny"\nfps = 3\n',
    'customer = "Fern Hollow"\nradio = "tiny"\nbackgruond = "#fff"\n',
    'customer = "Fern Hollow"\nradio = "tiny"\nfit = "wide"\n',
    'customer = "Fern Hollow"\nradio = "tiny"\nbackground = "blue-ish"\n',
    'customer = "Fern Hollow"\nradio = ["tiny", "tiny"]\n',
    'customer = "Fern Hollow"\nradio = "tiny"\n[part]\nart = "a"\n',
    'customer = "Fern Hollow"\nradio = "tiny"\n[[motion]]\nfps = 3\n',
    'customer = "Fern Hollow"\nradio = "tiny"\n[motion]\nfinish = 3\n',
    'customer = "Fern Hollow"\nradio = "tiny"\n[motion]\nthin = 4\n',
    'customer = "Fern Hollow"\nradio = "tiny"\ncustomer = "Fern Hollow"\n',
    'customer = "Fern Hollow"\nradio = "tiny"\n[[part]]\nart = "a"\nstart = 4\nstop = 3\n',
    'customer "Fern Hollow"\nradio = "tiny"\n',
    'customer = “Fern Hollow”\nradio = "tiny"\nrush = yes\n',
)


@pytest.mark.parametrize("text", MANIFESTS)
def test_what_is_said_of_a_manifest_is_in_the_page_s_language(text: str) -> None:
    for reason in reasons_of(text):
        for said in filter(None, (reason.what, reason.mend.split("\n")[0])):
            assert told(said, GERMAN).code == "de", said


def reasons_of(text: str) -> tuple[Reason, ...]:
    try:
        return parse_leniently(text.encode())[1]
    except Refused as refusal:
        return refusal.reasons


def test_every_kind_that_is_not_taken_is_named_in_the_page_s_language() -> None:
    rules = Path(catalogues.PACKAGE / "rules" / "kinds.toml").read_text(encoding="utf-8")
    for kind in tomllib.loads(rules)["kind"].values():
        assert told(f"is {kind['what']}", GERMAN).code == "de", kind["what"]
        assert told(kind["way_out"], GERMAN).code == "de", kind["way_out"]


def test_a_sentence_reads_as_the_catalogues_write_it() -> None:
    sentence = Sentence.read('100 %% of "%(v1)s" at %(v2)s', "")

    assert sentence.quoted == {"v1"}
    assert json.dumps(sentence.pattern.fullmatch('100 % of "a" at b').groupdict()) == '{"v1": "a", "v2": "b"}'  # type: ignore[union-attr]
