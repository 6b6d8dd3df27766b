"""The files beside a revision that say what became of it."""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest

from keyturn.outbox import revision_life
from keyturn.shop.slips import Slip

DIGEST = "cd" * 32


def slip(number: int, **more: object) -> Slip:
    known = {
        "kind": "answer",
        "id": f"slip-{number:04d}",
        "customer": "Fern Hollow Mobile Library",
        "job": "van",
        "revision": 1,
        "path": "fern/van-r1",
        "digest": DIGEST,
        "at": f"2026-03-01T09:{number % 60:02d}:00+00:00",
        "answer": "yes",
    }
    return Slip.model_validate(known | more)


def test_a_revision_of_which_nobody_said_anything_has_no_life(tmp_path: Path) -> None:
    life = revision_life.read(tmp_path)
    assert life == revision_life.Life() and life.last_answer is None and not life.approved


def test_the_last_answer_counts_and_the_earlier_ones_are_kept(tmp_path: Path) -> None:
    for number, answer in enumerate(("yes", "change", "yes")):
        assert revision_life.enter(tmp_path, slip(number, answer=answer))
        assert revision_life.read(tmp_path).approved == (answer == "yes")
    assert [s.answer for s in revision_life.read(tmp_path).answer] == ["yes", "change", "yes"]


def test_a_slip_that_comes_twice_is_entered_once(tmp_path: Path) -> None:
    assert revision_life.enter(tmp_path, slip(1))
    assert not revision_life.enter(tmp_path, slip(1))
    assert len(revision_life.read(tmp_path).answer) == 1


def test_each_kind_has_a_file_of_its_own_that_other_programs_read(tmp_path: Path) -> None:
    revision_life.enter(tmp_path, slip(1, kind="copied", answer=None, stick="KEYTURN", radio="tall-768x1024"))
    revision_life.enter(tmp_path, slip(2, kind="fitted", answer=None, boot_s=18.2))
    (copied,) = json.loads((tmp_path / "copied.json").read_text())["slips"]
    assert copied["stick"] == "KEYTURN" and copied["digest"] == DIGEST
    assert revision_life.read(tmp_path).fitted[0].boot_s == 18.2


def test_a_spoilt_file_tells_nothing_and_is_written_anew(tmp_path: Path) -> None:
    (tmp_path / "answer.json").write_text("{")
    assert not revision_life.read(tmp_path).answer
    assert revision_life.enter(tmp_path, slip(1)) and revision_life.read(tmp_path).approved


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    """flock(2): the lock belongs to the open file, so that threads keep each other out as processes do."""
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda number: revision_life.enter(tmp_path, slip(number)), range(40)))
    assert len(revision_life.read(tmp_path).answer) == 40


def test_a_lock_that_somebody_keeps_stops_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(revision_life, "LOCK_S", 0.02)
    with open_descriptor(tmp_path) as descriptor:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        assert revision_life.enter(tmp_path, slip(1))


@contextmanager
def open_descriptor(folder: Path) -> Iterator[int]:
    descriptor = os.open(folder, os.O_RDONLY)
    yield descriptor
    os.close(descriptor)


def test_boots_are_gathered_from_all_revisions_of_one_radio(tmp_path: Path) -> None:
    for number, (name, radio) in enumerate(
        [("fern/van-r1", "tiny"), ("quarry/cart-r2", "tiny"), ("fern/van-r2", "wide")]
    ):
        (tmp_path / name).mkdir(parents=True)
        told = {"kind": "fitted", "answer": None, "radio": radio, "boot_s": 18.0 - number}
        revision_life.enter(tmp_path / name, slip(9 - number, **told))
        revision_life.enter(tmp_path / name, slip(20 + number, kind="fitted", answer=None, radio=radio))
    assert revision_life.boots_told(tmp_path, "tiny") == (17.0, 18.0)
