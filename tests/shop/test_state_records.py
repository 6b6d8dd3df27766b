"""The shop's state: what is written is read again, by this Keyturn and by others."""

from __future__ import annotations

import inspect

import pytest

from keyturn.shop import state_records
from keyturn.shop.records import Record
from keyturn.shop.state_records import ShopState, Waiting

KINDS = [kind for _, kind in inspect.getmembers(state_records, inspect.isclass) if issubclass(kind, Record)]


@pytest.mark.parametrize("kind", KINDS)
def test_every_record_is_frozen_and_says_what_it_is(kind: type[Record]) -> None:
    assert kind.model_config.get("frozen") is True
    assert kind.model_config.get("extra") == "ignore"
    assert kind.__doc__


def test_a_shop_of_which_nothing_is_known_is_empty() -> None:
    state = ShopState(at="2026-03-01T09:32:00+00:00", running=False)
    assert (state.waiting, state.working, state.ready, state.refused) == ((), (), (), ())
    assert not Waiting(name="van", files=1, since="").rush
