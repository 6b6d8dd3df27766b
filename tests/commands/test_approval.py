"""Whose yes is missing for a revision."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import page_records
from keyturn.commands import approval
from keyturn.outbox import published_digests, revision_life
from keyturn.shop.records import JobRecord
from keyturn.shop.slips import Slip


@pytest.fixture
def revision(tmp_path: Path) -> Path:
    folder = tmp_path / "fern" / "van-two-r1"
    folder.mkdir(parents=True)
    (folder / "job.json").write_text(page_records.job().model_dump_json())
    return folder


def say(revision: Path, **more: Any) -> None:
    known = {
        "kind": "answer",
        "id": f"slip-{len(revision_life.read(revision).answer):04d}",
        "customer": "Fern Hollow Mobile Library",
        "job": "van-two",
        "revision": 1,
        "path": "fern/van-two-r1",
        "digest": published_digests.digest_of(revision),
        "at": "2026-03-01T09:30:00+00:00",
        "by": "Marta Lindqvist",
        "answer": "yes",
    }
    revision_life.enter(revision, Slip.model_validate(known | more))


def missing(revision: Path) -> str:
    record: JobRecord = page_records.job()
    reason = approval.missing(revision, record)
    if reason is None:
        return ""
    assert reason.code == "yes-missing" and "keyturn answer fern/van-two-r1 yes --by NAME" in reason.mend
    return reason.what


def test_a_yes_is_missing_until_it_is_said(revision: Path) -> None:
    assert missing(revision) == "Fern Hollow Mobile Library has not said yes to van-two, revision 1"
    say(revision)
    assert not missing(revision)


def test_a_change_takes_the_yes_back(revision: Path) -> None:
    say(revision)
    say(revision, answer="change")
    assert missing(revision) == "Marta Lindqvist asked for a change to van-two, revision 1"


def test_a_yes_to_other_files_does_not_count(revision: Path) -> None:
    say(revision, digest="ab" * 32)
    assert missing(revision).startswith("the yes of Marta Lindqvist is to other files")


def test_the_files_of_a_yes_must_not_change_after_it(revision: Path) -> None:
    say(revision)
    (revision / "job.json").write_text("{}")
    assert missing(revision)
