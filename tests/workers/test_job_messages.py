"""How many messages are handed to a cluster at once, and what becomes of answers that cannot be had."""

from __future__ import annotations

import os
from collections.abc import Iterator
from importlib.util import find_spec

import pytest

if find_spec("distributed") is None:
    if os.environ.get("CI"):
        raise ModuleNotFoundError("distributed is not installed (extra cluster, part of the extra test)")
    pytest.skip('distributed is not installed (pip install -e ".[cluster]")', allow_module_level=True)

from keyturn.workers import job_messages
from keyturn.workers.job_messages import MOST_AT_ONCE, Parcel, SentBatch, taken_together, together
from keyturn.workers.sent_files import MessageFiles


def messages(sizes: list[int]) -> Iterator[Parcel[int]]:
    for number, size in enumerate(sizes):
        yield Parcel([number], [str(number)], b"12345", MessageFiles({"a.png": b"x" * (size - 5)}))


def jobs_of(drawn: list[Parcel[int]]) -> list[int]:
    return [job for one in drawn for job in one.jobs]


def test_as_many_are_drawn_as_there_is_room_for_and_no_more_than_a_few() -> None:
    left = messages([10] * 20)
    assert jobs_of(together(left, 3)) == [0, 1, 2]
    assert jobs_of(together(left, 100)) == list(range(3, 3 + MOST_AT_ONCE))
    assert jobs_of(together(left, 100)) == list(range(3 + MOST_AT_ONCE, 11 + MOST_AT_ONCE))
    assert jobs_of(together(left, 100)) == [19]
    assert together(left, 100) == []


def test_after_many_bytes_no_further_one_is_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(job_messages, "AT_ONCE_BYTES", 100)
    left = messages([40, 40, 40, 400, 10])
    assert jobs_of(together(left, 100)) == [0, 1, 2]
    assert jobs_of(together(left, 100)) == [3]
    assert jobs_of(together(left, 100)) == [4]


def test_answers_that_are_not_to_be_had_at_once_are_none() -> None:
    """Whoever asks for them one by one hears why."""
    assert taken_together(None, [SentBatch([1], ["1.png"], object())]) is None
