"""Each kind of value takes what the artist may write and nothing else."""

from __future__ import annotations

import pytest

from keyturn.manifest import reading
from manifest_samples import LEAST, refused


@pytest.mark.parametrize("art", ["../secret.png", "/etc/passwd", "**/*.png"])
def test_art_stays_inside_the_drop(art: str) -> None:
    assert "part.1.art" in refused(LEAST + f'[[part]]\nart = "{art}"\n'.encode())


@pytest.mark.parametrize(
    ("colour", "expected"), [("#0b1d2a", (11, 29, 42)), ("#FFFFFF", (255, 255, 255)), ("#000000", (0, 0, 0))]
)
def test_a_colour_is_two_hex_digits_each_for_red_green_and_blue(colour: str, expected: tuple[int, int, int]) -> None:
    """CSS Color Module Level 4, 5.2: #rrggbb, in capital or small letters."""
    assert reading.parse(LEAST + f'background = "{colour}"\n'.encode()).ground == expected


@pytest.mark.parametrize("colour", ["reddish", "#ffff", "0b1d2", "#0b1d2g", "#0b1d2a80", "11, 29, 42", ""])
def test_other_ways_to_write_a_colour_are_refused(colour: str) -> None:
    assert refused(LEAST + f'background = "{colour}"\n'.encode())["background"].code == "manifest-value"


@pytest.mark.parametrize("text", ["", "   ", "two\\nlines", "a\\u2028b", "bell\\u0007", "x" * 201])
def test_words_are_one_line_of_plain_text(text: str) -> None:
    assert set(refused(LEAST + f'job = "{text}"\n'.encode())) == {"job"}


def test_spaces_around_words_are_taken_off() -> None:
    assert reading.parse(LEAST + b'job = "  van two "\n').job == "van two"


@pytest.mark.parametrize("focus", ["[0.5]", "[0.5, 1.1]", "[-0.1, 0.5]", "[0.5, 0.5, 0.5]", '"middle"'])
def test_shares_lie_between_0_and_1(focus: str) -> None:
    found = refused(LEAST + f"focus = {focus}\n".encode())
    assert {field.partition(".")[0] for field in found} == {"focus"}
