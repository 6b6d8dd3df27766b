"""Names that look alike and are not. The names of characters are those of Unicode's character database."""

import pytest

from keyturn.shop.lookalikes import difference


@pytest.mark.parametrize(
    ("other", "told"),
    [
        ("l\u0430mps/1.png", "cyrillic small letter a"),
        ("lamps\u200b/1.png", "zero width space"),
        ("lamps/\u0661.png", "arabic-indic digit one"),
    ],
)
def test_the_characters_that_differ_are_named(other: str, told: str):
    assert told in difference("lamps/1.png", ["vans/1.png", other])
    assert told in difference(other, ["lamps/1.png"])


def test_names_that_look_different_or_are_the_same_need_no_words():
    assert difference("lamps/1.png", ["lamps/2.png", "lamp/1.png", "lamps/1.png"]) == ""
    assert difference("Caf\u00e9", ["Cafe\u0301"]) == ""
