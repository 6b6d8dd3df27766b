"""Pauses after faults, by a clock that the test holds."""

from __future__ import annotations

import pytest
from loguru import logger

from keyturn.service.backoff import RETRY_FIRST_S, RETRY_MOST_S, Backoff
from keyturn.shop.reasons import ShopFault
from samples import Clock

FULL = ShopFault("No space left on device", "free some space")


@pytest.fixture
def backoff(clock: Clock) -> Backoff:
    return Backoff(clock)


def test_each_pause_is_twice_as_long_as_the_one_before_up_to_the_longest(backoff: Backoff) -> None:
    lengths = []
    for _ in range(8):
        backoff.pause(FULL)
        lengths.append(backoff.left_s())
    assert lengths == [2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0, 60.0]
    assert (lengths[0], lengths[-1]) == (RETRY_FIRST_S, RETRY_MOST_S)


def test_a_try_is_allowed_when_the_pause_has_run_out_and_the_fault_stands_until_something_works(
    backoff: Backoff, clock: Clock
) -> None:
    assert backoff.may_try()
    backoff.pause(FULL)
    clock.at += RETRY_FIRST_S - 0.5
    assert (backoff.may_try(), backoff.left_s()) == (False, 0.5)
    clock.at += 1
    assert (backoff.may_try(), backoff.left_s(), backoff.fault) == (True, 0.0, str(FULL))
    backoff.over()
    assert backoff.fault == ""
    backoff.pause(FULL)
    assert backoff.left_s() == RETRY_FIRST_S, "after something worked the first pause is short again"


def test_each_new_fault_is_told_once(clock: Clock) -> None:
    told: list[str] = []
    backoff = Backoff(clock, lambda fault: told.append(str(fault)))
    for fault in (FULL, FULL, ShopFault("read-only")):
        backoff.pause(fault)
    backoff.over()
    backoff.pause(ShopFault("read-only"))
    assert told == [str(FULL), "read-only", "read-only"]


def test_the_same_fault_is_logged_once_and_another_one_again(backoff: Backoff) -> None:
    lines: list[str] = []
    logger.add(lines.append, format="{message}")
    for fault in (FULL, FULL, ShopFault("Input/output error", "look at the disk"), FULL):
        backoff.pause(fault)
    assert ["No space" in line for line in lines] == [True, False, True]
