"""Names in the order of the numbers in them, against an order worked out with Python's own integers."""

from itertools import groupby

import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.shop.natural_order import natural_key

NAMES = st.lists(st.sampled_from(["a", "b", "Z", "0", "7", "10", "009", "-", " ", "é"]), max_size=7).map("".join)


def by_integers(name: str) -> list[str | int]:
    """Texts and integers in turn, the first a text, maybe an empty one."""
    runs = [(digit, "".join(run)) for digit, run in groupby(name, key=lambda c: c in "0123456789")]
    steps: list[str | int] = [int(text) if digit else text for digit, text in runs]
    starts_with_number = bool(steps) and isinstance(steps[0], int)
    ends_with_number = bool(steps) and isinstance(steps[-1], int)
    return [""] * starts_with_number + steps + [""] * ends_with_number


@given(NAMES, NAMES)
def test_names_compare_as_with_whole_numbers(one: str, other: str) -> None:
    ours = natural_key(one) < natural_key(other), natural_key(one) == natural_key(other)
    assert ours == (by_integers(one) < by_integers(other), by_integers(one) == by_integers(other))


def test_frame2_comes_before_frame10() -> None:
    names = ["frame10", "frame2", "frame1", "frame", "frame02b", "frame2a"]
    assert sorted(names, key=natural_key) == ["frame", "frame1", "frame2", "frame2a", "frame02b", "frame10"]


@pytest.mark.parametrize("digits", [4_301, 50_000])
def test_no_number_is_too_long(digits: int) -> None:
    long, longer = "9" * digits, "1" + "0" * digits
    assert sorted([f"f{longer}", f"f{long}", "f5"], key=natural_key) == ["f5", f"f{long}", f"f{longer}"]
    with pytest.raises(ValueError, match="limit"):
        int(long)


@pytest.mark.parametrize("name", ["", "²", "frame٣", "①2"])
def test_other_scripts_digits_are_text(name: str) -> None:
    assert natural_key(name) >= natural_key("")
    assert sorted([name, "a1"], key=natural_key)
