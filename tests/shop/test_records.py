"""Records: what is written is read again, by this Keyturn and by others."""

from __future__ import annotations

import inspect
import json

import pytest
from pydantic import ValidationError

from keyturn.shop import records
from keyturn.shop.reasons import refuse
from keyturn.shop.records import FileRecord, PartRecord, Record, Rejection

KINDS = [kind for _, kind in inspect.getmembers(records, inspect.isclass) if issubclass(kind, Record)]

REJECTION = Rejection(
    keyturn="0.1.0",
    drop="van-three",
    claim="0123456789abcdef",
    customer=None,
    rejected_at="2026-03-01T09:31:00+00:00",
    reasons=(refuse("no-art", "no pictures were found", "put at least one picture in"),),
)


def test_a_record_comes_back_from_json_as_it_was() -> None:
    assert Rejection.model_validate_json(REJECTION.model_dump_json()) == REJECTION


def test_a_newer_keyturns_record_can_be_read() -> None:
    newer = json.loads(REJECTION.model_dump_json()) | {"mood": "hopeful"}
    assert Rejection.model_validate(newer) == REJECTION


def test_a_record_of_before_the_sizes_were_written_can_be_read() -> None:
    row = {"path": "lamps", "type": "p", "count": 1, "pause": 0, "pause_s": 0, "frames": 48, "art": "lamps/*.png"}
    part = PartRecord.model_validate(row)
    assert (part.bytes, part.plain_bytes, part.jpeg_frames, part.trimmed) == (0, 0, 0, False)


@pytest.mark.parametrize("kind", KINDS)
def test_every_record_is_frozen_and_says_what_it_is(kind: type[Record]) -> None:
    assert kind.model_config.get("frozen") is True
    assert kind.model_config.get("extra") == "ignore"
    assert kind.__doc__


def test_a_record_cannot_be_changed_and_two_alike_are_equal() -> None:
    file = FileRecord(path="logo.png", size=204_800, sha256="0c" * 32)
    assert file == FileRecord(path="logo.png", size=204_800, sha256="0c" * 32)
    with pytest.raises(ValidationError, match="frozen"):
        file.size = 0  # type: ignore[misc]


def test_a_row_that_lacks_something_is_refused() -> None:
    with pytest.raises(ValidationError, match="sha256"):
        FileRecord.model_validate({"path": "logo.png", "size": 1})
