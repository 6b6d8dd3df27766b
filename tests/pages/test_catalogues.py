"""The catalogues hold what the code says, whole: every sentence in every language, with its values and plurals."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.plurals import get_plural
from babel.messages.pofile import read_po

from keyturn.pages import catalogues
from keyturn.pages.languages import catalogue_file, language_of
from keyturn.shop.language_codes import LANGUAGES

OTHERS = [code for code in LANGUAGES if code != "en"]


def catalogue(code: str) -> Catalog:
    with catalogue_file(code).open("rb") as file:
        return read_po(file, locale=code)


def messages(code: str) -> list[Message]:
    return [message for message in catalogue(code) if message.id]


def forms(texts: str | tuple[str, ...] | list[str]) -> list[str]:
    return [texts] if isinstance(texts, str) else list(texts)


def placeholders(text: str) -> set[str]:
    return set(re.findall(r"%\((\w+)\)s|(%%)|(\{\w+\})", text))


def tags(text: str) -> list[str]:
    found: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.append(tag)

        def handle_endtag(self, tag: str) -> None:
            found.append("/" + tag)

    reader = Reader()
    reader.feed(text)
    reader.close()
    return sorted(found)


def test_the_template_is_up_to_date_with_the_code() -> None:
    """`python -m keyturn.pages.catalogues` writes it anew."""
    assert catalogues.TEMPLATE.read_bytes() == catalogues.as_text(catalogues.template())


@pytest.mark.parametrize("code", OTHERS)
def test_a_catalogue_has_the_sentences_of_the_code_and_no_other(code: str) -> None:
    assert catalogue_file(code).read_bytes() == catalogues.as_text(catalogues.updated(code))


@pytest.mark.parametrize("code", OTHERS)
def test_no_sentence_is_without_its_translation_and_none_is_a_guess(code: str) -> None:
    found = messages(code)
    assert len(found) > 300
    assert [message.id for message in found if not all(forms(message.string))] == []
    assert [message.id for message in found if message.fuzzy] == []


@pytest.mark.parametrize("code", OTHERS)
def test_the_values_and_the_markup_of_every_form_agree_with_the_english(code: str) -> None:
    odd = []
    for message in messages(code):
        english = forms(message.id)
        allowed = [placeholders(text) for text in english]
        for form in forms(message.string):
            # Arabic sets the size of a screen apart, so that it reads from left to right
            markup = tags(form.replace('<bdi dir="ltr">%(width)s x %(height)s</bdi>', ""))
            if placeholders(form) not in allowed or markup != tags(english[-1]):
                odd.append((message.id, form))
    assert odd == []


@pytest.mark.parametrize("code", OTHERS)
def test_every_form_can_be_filled_in(code: str) -> None:
    """A percent sign alone would fail only once the sentence is shown."""
    for message in messages(code):
        for form in forms(message.string):
            if message.python_format:
                values = {name: "x" for name, _, _ in placeholders(form) if name}
                assert "%(" not in form % values


@pytest.mark.parametrize("code", OTHERS)
def test_plural_forms_are_those_of_the_language(code: str) -> None:
    # CLDR plural rules, as Babel carries them
    rule = get_plural(code)
    there = catalogue(code)
    assert (there.num_plurals, there.plural_expr) == (rule.num_plurals, rule.plural_expr)
    counts = {len(message.string) for message in messages(code) if isinstance(message.id, tuple)}
    assert counts == {rule.num_plurals}


@pytest.mark.parametrize(
    ("number", "words"), [(1, "1 klatka"), (2, "2 klatki"), (5, "5 klatek"), (12, "12 klatek"), (22, "22 klatki")]
)
def test_a_plural_is_chosen_by_the_number(number: int, words: str) -> None:
    # CLDR plural rules of Polish: one, few (2 to 4, but not 12 to 14), many
    assert language_of("pl").ngettext("%(num)s frame", "%(num)s frames", number) == words


def test_no_sentence_that_stands_in_an_attribute_ends_it() -> None:
    """Sentences go into alt="..." and aria-label="..." as they are."""
    templates = "".join(path.read_text(encoding="utf-8") for path in catalogues.PACKAGE.glob("pages/templates/*.j2"))
    inside = set(re.findall(r'(?:alt|aria-label|title)="\{\{ _\("([^"]+)"', templates))
    assert len(inside) > 8
    there = {message.id: message.string for code in OTHERS for message in messages(code)}
    assert [there[text] for text in inside if '"' in there.get(text, "") or "<" in there.get(text, "")] == []
