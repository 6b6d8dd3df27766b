"""The numbers of a record are such as SQLite, Python's printing and the pages can use."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from pydantic import ValidationError

from keyturn.shop.bounded_record import LARGEST, MOST_KEYS, MOST_VALUES, Record, parsed
from keyturn.shop.reasons import Reason


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


class _Crowd(Record):
    reasons: tuple[Reason, ...] = ()
    rows: tuple[tuple[int, ...], ...] = ()
    pictures: dict[str, str] = {}


@pytest.mark.parametrize(
    "text",
    [
        '{"reasons": [' + "{}," * 1000 + "{}]}",
        '{"reasons": [' + "1," * 1000 + "1]}",
        '{"rows": [["a"' + ',"a"' * 1000 + "]]}",
        '{"rows": [' + '["a"],' * 1000 + "[1]]}",
        '{"pictures": {' + ",".join(f'"{n}": 1' for n in range(MOST_KEYS + 1)) + "}}",
    ],
)
def test_reading_ends_at_the_first_error_of_a_list(text: str) -> None:
    """pydantic keeps about a KiB for each error: those of a few MiB of JSON would fill the memory."""
    with pytest.raises(ValidationError) as caught:
        parsed(text.encode(), _Crowd)
    assert caught.value.error_count() <= 3


def test_keys_of_a_newer_keyturn_are_left_out_within_a_list_too() -> None:
    crowd = parsed(b'{"reasons": [{"code": "a", "kind": "note", "what": "b", "since": 1}], "new": 2}', _Crowd)
    assert [reason.what for reason in crowd.reasons] == ["b"]


def test_a_record_of_too_many_values_is_none() -> None:
    many = b'{"rows": [[1' + b",1" * MOST_VALUES + b"]]}"
    with pytest.raises(ValueError, match="values"):
        parsed(many + b",", _Crowd)
    assert parsed(many.replace(b",1", b"", 9), _Crowd).rows


def test_threads_may_meet_a_record_that_nobody_has_used_before() -> None:
    """The service reads records in several threads, and pydantic builds a model when it is first used."""
    for number in range(20):
        model = type(f"_New{number}", (_Counted,), {"__annotations__": {"name": str}, "name": ""})
        together = Barrier(4)

        def read(model: type[Record] = model, together: Barrier = together) -> Record:
            together.wait()
            return parsed(b'{"name": "van", "count": 3}', model)

        with ThreadPoolExecutor(4) as threads:
            found = [each.result() for each in [threads.submit(read) for _ in range(4)]]
        assert {(each.name, each.count) for each in found} == {("van", 3)}  # type: ignore[attr-defined]
