"""Lines that are no TOML are put right where they have one plain meaning; all others stay as they are."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.manifest.typed_text import mended, with_plain_headers, with_plain_lists


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("customer = “Fern”", {"customer": "Fern"}),
        ("customer = „Fern“ # „ja“", {"customer": "Fern"}),
        ("customer = ‘Ines’ van’", {"customer": "Ines’ van"}),
        ('customer = “the "Fern" van”', {"customer": 'the "Fern" van'}),
        ('radio = ["a”, "b", „c“]', {"radio": ["a", "b", "c"]}),
        ("customer\xa0= \u2009'Fern'\u200b", {"customer": "Fern"}),
        ("there and back = true", {"there_and_back": True}),
        ("pause = 0,5 # seconds", {"pause": 0.5}),
        (
            "pan = { from = [0,1, 0,2, 0,9, 0,95], seconds = 1,5 }",
            {"pan": {"from": [0.1, 0.2, 0.9, 0.95], "seconds": 1.5}},
        ),
        ("path = [[–0,2; 0,05], [1,2; 0,5]]", {"path": [[-0.2, 0.05], [1.2, 0.5]]}),
        ("rush = Yes", {"rush": True}),
        ("rush = FALSE # no", {"rush": False}),
        ("plays = forever", {"plays": "forever"}),
        ('art = "lamps\\*.png"', {"art": "lamps/*.png"}),
        ('art = "lamps\\"', {"art": "lamps/"}),
        (
            'crossfade = { to = "late\\night.png", frames = 1,5 }',
            {"crossfade": {"to": "late/night.png", "frames": 1.5}},
        ),
        ('art = "caf\\u00e9\\*.png"', {"art": "café/*.png"}),
    ],
)
def test_a_line_with_one_plain_meaning_is_read_as_it_is_meant(line: str, meant: dict[str, object]) -> None:
    made, told = mended(line)
    assert tomllib.loads(made) == meant
    assert told and all(each.endswith("first in line 1") for each in told)


@pytest.mark.parametrize(
    "line",
    [
        "radio = tall-768x1024",
        "start = 1,000",
        "customer = “Fern",
        "focus = [0,5, 1,2,3]",
        "customer = 'a' 'b'",
        "# “a",
        "x =",
    ],
)
def test_a_line_of_two_meanings_is_left_as_it_is(line: str) -> None:
    assert mended(line) == (line, [])


@given(st.text(alphabet="ab “”„‘’'\",;[]{}=#\\1,.\xa0\n", max_size=40))
def test_lines_that_are_toml_by_themselves_stay(text: str) -> None:
    made, _ = mended(text)
    for before, after in zip(text.split("\n"), made.split("\n"), strict=True):
        try:
            tomllib.loads(before)
        except tomllib.TOMLDecodeError:
            continue
        assert after == before


def test_names_of_tables_are_small_letters_and_other_brackets_stay() -> None:
    text = '[Motion]\nfps = 1\n[[ PART ]] # one\n[[part]]\n[Part . Glide]\nart = ["A"]\n[Other]\n'
    made, told = with_plain_headers(text)
    assert made == '[motion]\nfps = 1\n[[part]] # one\n[[part]]\n[part.glide]\nart = ["A"]\n[Other]\n'
    assert told == ["names of tables were read in small letters, first in line 1"]
    assert with_plain_headers(made) == (made, [])


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("focus = [0,5, 0,4]", "focus = [0.5, 0.4]"),
        ("path = [[-0,15, 0,6], [1,15; 0,6]]", "path = [[-0.15, 0.6], [1.15, 0.6]]"),
        (
            "pan = { from = [0,1, 0, 1, 0,9], to = [0, 0, 1, 1] }",
            "pan = { from = [0.1, 0, 1, 0.9], to = [0, 0, 1, 1] }",
        ),
    ],
)
def test_lists_with_decimal_commas_are_read_where_toml_would_read_more_numbers_than_the_field_takes(
    line: str, meant: str
) -> None:
    assert with_plain_lists(line) == (meant, ["decimal commas were read as points, first in line 1"])


@pytest.mark.parametrize("line", ["from = [0,0, 1,1]", "turn = [0,5, 1,5]", "focus = [0,1]", "path = [[0,1], [1,1]]"])
def test_lists_that_the_field_takes_stay(line: str) -> None:
    assert with_plain_lists(line) == (line, [])
