"""Text from outside is one line without characters that a terminal or the journal would obey."""

from __future__ import annotations

import json
import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from keyturn.shop.plain_text import escaped_in_json, plain_line

BIDI_CONTROL = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Unicode Standard Annex 9, table 1 and PropList.txt: every character with the property Bidi_Control."""


def obeyed(character: str) -> bool:
    """Is it a control character, C1 included, a line break, a change of direction or half a surrogate pair?"""
    return unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp") or character in BIDI_CONTROL


HARMFUL = st.sampled_from("\n\r\t\x1b\x85\x9b\u2028\udcff" + "".join(BIDI_CONTROL))
texts = st.text(st.one_of(st.characters(), HARMFUL))
names = st.text(st.one_of(st.characters(codec="utf-8"), HARMFUL))
"""As the system gives them: of the surrogates only U+DC80 to U+DCFF, each for one byte (PEP 383)."""


@given(texts)
def test_every_character_that_would_be_obeyed_is_replaced_and_no_other(text: str) -> None:
    assert plain_line(text) == "".join("\N{REPLACEMENT CHARACTER}" if obeyed(c) else c for c in text)
    assert len(plain_line(text).splitlines()) <= 1


@given(st.dictionaries(names, names))
def test_a_json_document_means_the_same_and_holds_none_of_them(record: dict[str, str]) -> None:
    document = escaped_in_json(json.dumps(record, ensure_ascii=False, indent=2))
    assert json.loads(document) == record
    assert not any(obeyed(c) for c in document.replace("\n", ""))
