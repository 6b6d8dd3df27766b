"""The numbers of a record are such as SQLite, Python's printing and the pages can use."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from keyturn.shop.bounded_record import LARGEST, Record


class _Counted(Record):
    count: int = 0
    share: float = 0.0
    order: tuple[tuple[int, ...], ...] = ()


def test_json_s_exact_whole_numbers_are_taken() -> None:
    """RFC 8259, section 6: whole numbers up to 2^53 - 1 are read alike everywhere."""
    assert _Counted.model_validate_json(f'{{"count": {LARGEST - 1}, "new": 1}}').count == LARGEST - 1


@pytest.mark.parametrize(
    "text",
    [
        '{"count": 9007199254740993}',
        '{"count": -9007199254740993}',
        '{"count": ' + "9" * 5000 + "}",
        '{"order": [[1, 2], [3, 99999999999999999999]]}',
        '{"share": NaN}',
        '{"share": Infinity}',
        '{"share": 1e999}',
    ],
)
def test_others_are_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        _Counted.model_validate_json(text)
