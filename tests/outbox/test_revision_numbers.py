"""A revision's number is never used again, whatever fitters take away and retention removes."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.outbox import retention, revision_numbers
from keyturn.pipeline import Bench
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.shop.settings import KeepSettings
from keyturn.workers.crew import InlineCrew
from samples import Drop

FERN = "fern-hollow-mobile-library"


def next_van(*bases: Path) -> int:
    return revision_numbers.next_number(bases, FERN, "van")


def test_numbers_go_up_and_each_job_has_its_own(tmp_path: Path, drop: Drop, bench: Bench) -> None:
    root = drop(frames=2)
    made = [make_by_hand.make(root, tmp_path / "out", bench).folder for _ in range(2)]
    assert [folder.name for folder in made if folder] == ["van-r1", "van-r2"]
    assert next_van(tmp_path / "out") == 3
    assert revision_numbers.next_number([tmp_path / "out"], FERN, "ferry") == 1
    assert revision_numbers.next_number([tmp_path / "out"], "quarry-bakery", "van") == 1


def test_the_highest_of_all_folders_counts(tmp_path: Path) -> None:
    """A drop in the archive, <job>-r3--<claim>, counts with the number of the revision that was made from it."""
    for path in ("outbox/{}/van-r1", "archive/{}/van-r3--20260301T093000-abc123-van-r8", "numbers/{}/van-r2"):
        (tmp_path / path.format(FERN)).mkdir(parents=True)
    assert next_van(tmp_path / "outbox", tmp_path / "archive", tmp_path / "numbers") == 4


def test_only_whole_numbers_without_a_leading_zero_count(tmp_path: Path) -> None:
    for name in ("van-r9", "van-r10", "van-r011", "van-r0", "van-r", "van-rx", "van-two-r40", "van-r5.bak"):
        (tmp_path / FERN / name).mkdir(parents=True)
    assert next_van(tmp_path) == 11


def test_a_job_called_like_a_revision_is_a_job_of_its_own(tmp_path: Path) -> None:
    (tmp_path / FERN / "van-r7-r1").mkdir(parents=True)
    assert next_van(tmp_path) == 1
    assert revision_numbers.next_number([tmp_path], FERN, "van-r7") == 2


def test_a_file_in_place_of_the_customers_folder_holds_no_numbers(tmp_path: Path) -> None:
    (tmp_path / FERN).write_bytes(b"")
    assert next_van(tmp_path, tmp_path / "missing") == 1


def test_only_the_highest_number_of_a_job_is_kept(tmp_path: Path) -> None:
    for target in ("c/van-r1", "c/van-r2", "c/van-two-r1", "c/van-r2", "d/van-r1", "c/van-r3"):
        revision_numbers.record_number(tmp_path / "numbers", target)
    kept = sorted(p.relative_to(tmp_path / "numbers").as_posix() for p in (tmp_path / "numbers").glob("*/*"))
    assert kept == ["c/van-r3", "c/van-two-r1", "d/van-r1"]


@pytest.mark.parametrize("lost", ["ledger", "numbers"])
def test_a_number_is_not_used_again_after_its_revision_and_its_drop_are_gone(shop: Shop, drop: Drop, lost: str) -> None:
    """Fitters take r1 and r2 away. Then the ledger and the archive are lost, or the notes in state/numbers are."""
    root = drop(frames=1)

    def make() -> list[str]:
        shutil.copytree(root, shop.inbox / "van")
        Service(shop, crew_of=lambda settings, rules: InlineCrew()).run(until_quiet=True)
        return sorted(p.name for p in (shop.outbox / FERN).glob("van-r*"))

    make()
    assert make() == ["van-r1", "van-r2"]
    for revision in (shop.outbox / FERN).glob("van-r*"):
        shutil.rmtree(revision)
    if lost == "ledger":
        later = datetime.now(UTC) + timedelta(days=2)
        assert len(retention.prune(shop, KeepSettings(archive_days=1), later)) == 2
        for path in shop.state.glob("ledger*"):
            path.unlink()
    else:
        shutil.rmtree(shop.numbers)
    assert make() == ["van-r3"]
