"""The names of the files on a stick."""

from __future__ import annotations

import pytest

from keyturn.shop import rulebook
from keyturn.shop.radio_profile import Radio
from keyturn.shop.stick_names import INSTALL, stick_faults, stick_files

BOOK = rulebook.load()
TALL = BOOK.radios["tall-768x1024"]


def with_stick(**values: object) -> Radio:
    return TALL.model_copy(update={"stick": TALL.stick.model_copy(update=values)})


def test_a_note_for_the_fitter_lies_there_only_where_the_radio_minds_no_other_file() -> None:
    assert stick_files(TALL) == ("bootanimation.zip", "logo.png")
    assert stick_files(with_stick(extra_files=True)) == ("bootanimation.zip", "logo.png", INSTALL)


def test_the_radios_that_ship_have_no_fault() -> None:
    assert [stick_faults(radio, BOOK.usb.fat) for radio in BOOK.radios.values()] == [[]] * len(BOOK.radios)
    assert stick_faults(with_stick(logo="boot/logo.png", extra_files=True), BOOK.usb.fat) == []


@pytest.mark.parametrize(
    "values",
    [
        {"logo": "logo?.png"},
        {"logo": "boot//logo.png"},
        {"logo": "./logo.png"},
        {"logo": ""},
        {"logo": "Bootanimation.zip"},
        {"logo": "bootanimation.zip"},
        {"logo": "bootanimation.zip/logo.png"},
        {"logo": "logo", "animation": "logo/bootanimation.zip"},
        {"logo": "install.txt", "extra_files": True},
    ],
)
def test_names_that_no_stick_can_hold_are_told(values: dict[str, object]) -> None:
    """The FAT specification and 'Naming Files, Paths, and Namespaces'; one path cannot be a file and a folder."""
    assert stick_faults(with_stick(**values), BOOK.usb.fat)
