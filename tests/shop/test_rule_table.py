"""Tables of rules name their source and hold nothing that is not known."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from keyturn.shop.rule_table import Sourced


def test_a_table_says_where_its_figures_come_from() -> None:
    assert Sourced(source="measured on the bench").source == "measured on the bench"
    with pytest.raises(ValidationError, match="source"):
        Sourced.model_validate({})


def test_an_unknown_key_is_an_error() -> None:
    with pytest.raises(ValidationError, match="sauce"):
        Sourced.model_validate({"source": "measured", "sauce": "none"})


def test_a_table_is_not_changed_once_it_was_read() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        Sourced(source="measured").source = "guessed"  # type: ignore[misc]
