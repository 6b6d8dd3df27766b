"""The rules about names that ship."""

from __future__ import annotations

from keyturn.shop import rulebook


def test_what_desktops_leave_and_what_is_still_copied_have_patterns_of_their_own() -> None:
    names = rulebook.load().intake.names
    assert set(names.junk) and set(names.half_copied) and not set(names.junk) & set(names.half_copied)


def test_a_stick_holds_no_name_longer_than_fat_does() -> None:
    """The FAT specification (fatgen103, long names): 255 characters."""
    assert rulebook.load().usb.fat.longest == 255
