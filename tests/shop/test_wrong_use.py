"""A wrong argument: what is wrong, and what to give instead."""

from __future__ import annotations

from keyturn.shop.reasons import ShopFault
from keyturn.shop.wrong_use import WrongUse


def test_it_says_what_is_wrong_and_what_to_give_instead() -> None:
    assert str(WrongUse("--filmed needs --read", "give both")) == "--filmed needs --read -> give both"
    assert str(WrongUse("a count of 0 s has 0 frames")) == "a count of 0 s has 0 frames"


def test_it_is_no_fault_of_the_machine() -> None:
    """The service pauses for a `ShopFault` and tries again; a wrong argument stays wrong."""
    assert not issubclass(WrongUse, ShopFault)
