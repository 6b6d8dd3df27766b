"""Words are compared as a person compares them, and spaces of print are plain spaces."""

from __future__ import annotations

import pytest

from keyturn.shop.folding import folded, plain_spaces


@pytest.mark.parametrize(
    "word", ["tall-768x1024", "Tall 768×1024", "TALL_768_x_1024", "tall–768 X 1024", "ｔall-768x1024"]
)
def test_capitals_blanks_hyphens_and_the_sign_for_times_make_no_difference(word: str) -> None:
    assert folded(word) == "tall768x1024"


def test_other_letters_make_a_difference() -> None:
    assert folded("café") != folded("cafe")


def test_spaces_of_print_become_plain_ones_and_others_stay() -> None:
    # Unicode 16, DerivedGeneralCategory.txt: Zs
    assert plain_spaces("a\xa0b\u2009c\u202fd\u3000e\tf") == "a b c d e\tf"
