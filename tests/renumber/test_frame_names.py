"""A picture's name taken apart."""

import pytest

from keyturn.renumber.frame_names import parsed, without_marks


def test_a_name_is_digit_groups_and_the_texts_around_them():
    name = parsed("lamps/Lamp_2 take 03.final.png")
    assert (name.folder, name.groups, name.texts) == ("lamps", ["2", "03"], ("lamp_", " take ", ".final"))


def test_a_copy_mark_is_taken_off_unless_it_is_the_numbering():
    marked = without_marks([parsed("lamp 1.png"), parsed("lamp 1 (2).png")])
    assert [(name.stem, name.marked) for name in marked] == [("lamp 1", False), ("lamp 1", True)]
    assert without_marks(numbered := [parsed("lamp2 (1).png"), parsed("lamp2 (2).png")]) == numbered


@pytest.mark.parametrize("zero", ["٠", "۰", "０", "०", "๐"])
def test_digits_of_any_script_are_digits(zero: str):
    """Unicode, category Nd: ten digits of a script follow each other from its zero."""
    name = parsed("lamp " + "".join(chr(ord(zero) + digit) for digit in (0, 4, 7)) + ".png")
    assert (name.groups, name.texts) == (["047"], ("lamp ", ""))


def test_accents_are_composed():
    assert parsed("Cafe\u0301 1.png").texts == parsed("Caf\u00e9 1.png").texts
