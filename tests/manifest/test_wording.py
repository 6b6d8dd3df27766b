"""All errors of a manifest are reported at once, each with its field and a mend in the artist's words."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from keyturn.manifest.models import Manifest
from keyturn.manifest.wording import reasons_for
from manifest_samples import LEAST, refused
from reason_texts import LIBRARY_WORDS, sentences


def test_every_error_is_told_at_once_each_with_its_field() -> None:
    found = refused(
        b'custmer = "F"\nradio = "x"\nfit = "stretch"\nbackground = "reddish"\n'
        b'[motion]\nfps = "fast"\n[[part]]\nart = "a/*"\nplays = 0\npause = -1\n'
    )
    assert set(found) == {
        "custmer", "fit", "background", "motion.fps", "part.1.plays", "part.1.pause",
    }  # fmt: skip
    assert all(r.mend and r.file == "job.toml" for r in found.values())


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        (b'backgroud = "#000000"', '"background"'),
        (b"fps = 12", "[motion]"),
        (b'plays = "until-booted"', "[part]"),
    ],
)
def test_an_unknown_key_names_the_nearest_or_where_it_belongs(line: bytes, hint: str) -> None:
    (reason,) = refused(LEAST + line).values()
    assert reason.code == "manifest-key-unknown"
    assert hint in reason.mend


def test_a_wrong_value_is_shown_up_to_80_letters() -> None:
    (reason,) = refused(LEAST + b'background = "' + b"x" * 200 + b'"\n').values()
    assert reason.what == f'must be a colour such as "#0b1d2a" (given: "{"x" * 80}")'


def test_the_choices_of_a_field_are_listed() -> None:
    (reason,) = refused(LEAST + b'fit = "stretch"\n').values()
    assert reason.mend.startswith("write one of: cover, contain (cover fills")


def test_a_missing_key_is_shown_as_it_is_to_be_written() -> None:
    found = refused(b'radio = "tall-768x1024"\n')
    assert found["customer"].code == "manifest-key-missing"
    assert found["customer"].mend == 'add customer = "..."'


def test_a_list_that_is_too_short_is_told_with_the_place_from_1() -> None:
    (reason,) = refused(LEAST + b"focus = [0.5]\n").values()
    assert (reason.field, reason.what) == ("focus.2", "has too few numbers")


def test_a_key_that_is_like_no_other_comes_with_the_keys_there_are() -> None:
    (reason,) = refused(LEAST + b"[motion]\nzzz = 1\n").values()
    assert reason.mend == "take it out; the keys known here: fps, finish, thin"


def test_a_misspelt_key_is_one_fault_and_not_a_missing_one_as_well() -> None:
    (reason,) = refused(LEAST.replace(b"customer", b"custmer")).values()
    assert (reason.code, reason.mend) == ("manifest-key-unknown", 'did you mean "customer"?')


KEYS = st.sampled_from(
    "customer radio job rush background fit focus logo motion part art fps finish plays pause glide pan crossfade "
    "sprite path size frames".split()
)
VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-3, 9999), st.floats(-9, 9), st.sampled_from(["", "a.png", "#12", "x" * 301])),
    lambda inner: st.one_of(st.lists(inner, max_size=5), st.dictionaries(KEYS, inner, max_size=4)),
    max_leaves=12,
)


@settings(deadline=None, max_examples=200)
@given(st.dictionaries(KEYS, VALUES, max_size=6))
def test_no_table_is_refused_in_a_library_s_words(table: dict[str, object]) -> None:
    try:
        Manifest.model_validate(table)
    except ValidationError as error:
        for reason in reasons_for(error.errors()):
            assert not LIBRARY_WORDS.search(reason.what) and not LIBRARY_WORDS.search(reason.mend)
            assert reason.mend and reason.what != "is not understood" and "{" not in reason.what
            assert all(len(sentences(text)) <= 1 for text in (reason.what, reason.mend))
