"""Every reason that the code can make says what is wrong and what to do, in short words, and stands on the page."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from keyturn.radio.inspect import HARMLESS
from keyturn.shop.reasons import Code
from reason_texts import LIBRARY_WORDS, PACKAGE, PAGE, VARIES, Made, Reader, library_text, page, sentences


@pytest.fixture(scope="module")
def every() -> list[Made]:
    return list(Reader().all())


LONGEST = 170
"""Letters of one text, without what varies."""


def told(made: Made, texts: object = "") -> str:
    return f"{made.where}: {made.code} {texts}"


def test_the_reader_finds_what_the_code_makes(every: list[Made]) -> None:
    """Found by eye: one of each way in which the code makes reasons."""
    made = {(each.code, each.kind) for each in every}
    assert {("frames-doubled", "refused"), ("frames-doubled", "mended"), ("motion-jumps", "noted")} <= made
    assert {("logo-missing", "refused"), ("psd-layers-only", "refused"), ("size-missing", "noted or refused")} <= made
    assert {("flashes", "refused or noted"), ("picture-defeats-reader", "refused")} <= made
    assert len({code for code, _ in made}) > 150


def test_the_reader_follows_names_branches_calls_and_loops_and_finds_an_exception_s_text(tmp_path: Path) -> None:
    (tmp_path / "sample.py").write_text(SAMPLE)
    found = {made.code: made for made in Reader(tmp_path).all()}
    assert {code: (made.what, made.mend) for code, made in found.items()} == {
        "branches": (("is red", "is … blue"), ("wait", "wait, or go")),
        "from-a-call": (("came out …",), ("do it again",)),
        "one": (("first",), ("mend",)),
        "two": (("second",), ("mend",)),
        "direct": (("failed: …",), ("mend",)),
        "handed": (("failed: …",), ("mend",)),
    }
    assert [code for code, made in found.items() if library_text(made)] == ["direct", "handed"]


SAMPLE = """
from keyturn.shop.reasons import note, refuse
AGAIN = "do it again"
def branches(red, count):
    if red:
        what = "is red"
    else:
        what = f"is {count} blue"
    mend = "wait"
    if count:
        mend += ", or go"
    return refuse("branches", what, mend)
def by_a_call():
    return refuse("from-a-call", _said(3), AGAIN)
def _said(count):
    return f"came out {count + 1}"
def loop():
    for code, what in (("one", "first"), ("two", "second")):
        yield note(code, what, "mend")
def direct():
    try:
        pass
    except ValueError as error:
        what = f"failed: {error}"
        raise Refused([refuse("direct", what, "mend")])
def handed(code, what):
    return refuse(code, what, "mend")
def hands():
    try:
        pass
    except ValueError as error:
        raise handed("handed", f"failed: {error}")
"""


def test_every_reason_is_short_and_in_our_own_words(every: list[Made]) -> None:
    adapter = TypeAdapter(Code)
    for made in every:
        assert adapter.validate_python(made.code)
        for text in (*made.what, *made.mend):
            assert not LIBRARY_WORDS.search(text), told(made, text)
            assert len(text.replace(VARIES, "")) <= LONGEST, told(made, text)
            assert len(sentences(text)) <= 1, told(made, "one sentence says what is wrong, one what to do: " + text)
            assert text == text.strip() and "  " not in text, told(made, text)


def test_no_exception_s_text_is_shown(every: list[Made]) -> None:
    """An exception's text is its library's."""
    assert [told(made, names) for made in every if (names := library_text(made))] == []


def test_every_refusal_says_what_to_do(every: list[Made]) -> None:
    assert [told(made) for made in every if _refuses(made) and not all(made.mend)] == []


def _refuses(made: Made) -> bool:
    return made.kind.startswith("refused") or (made.kind == "noted or refused" and made.code not in HARMLESS)


def test_kinds_that_are_not_taken_are_told_in_the_same_way() -> None:
    kinds = tomllib.loads((PACKAGE / "rules" / "kinds.toml").read_text(encoding="utf-8"))["kind"]
    for kind in kinds.values():
        for text in (kind["what"], kind["way_out"]):
            assert text and len(sentences(text)) == 1 and len(text) < LONGEST and not LIBRARY_WORDS.search(text), text


def test_the_page_of_all_codes_is_complete_and_current(every: list[Made]) -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert text == page(every), "run: python tests/reason_texts.py"
    assert {made.code for made in every} == set(re.findall(r"^\| `(\S+)` \|", text, re.MULTILINE))
