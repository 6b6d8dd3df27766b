"""A drop of stock files is told from a job's by its manifest; what is wrong with it is said with its customer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from keyturn import pipeline
from keyturn.outbox import restore_folders
from keyturn.pipeline import Bench
from keyturn.pipeline.stock import StockDrop, build, of_stock
from keyturn.shop.papers import Letterhead, Papers
from keyturn.shop.reasons import Refused
from samples import Drop
from stock_samples import MANIFEST, stock_drop


def opened(drop: Path, tmp_path: Path, bench: Bench) -> StockDrop | None:
    scratch = tmp_path / "scratch"
    scratch.mkdir(exist_ok=True)
    return of_stock(pipeline.opened(drop, scratch, bench.rules), scratch, bench)


def refused(drop: Path, tmp_path: Path, bench: Bench) -> Refused:
    with pytest.raises(Refused) as caught:
        opened(drop, tmp_path, bench)
    return caught.value


def test_a_job_s_drop_is_none(drop: Drop, tmp_path: Path, bench: Bench) -> None:
    assert opened(drop(frames=1), tmp_path, bench) is None


def test_whose_files_they_are_and_where_they_go(tmp_path: Path, bench: Bench) -> None:
    found = opened(stock_drop(tmp_path / "stock"), tmp_path, bench)
    assert found and (found.radio.name, found.target) == ("tiny", "fern-hollow-mobile-library/restore-tiny")


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [('"tiny"', '"tinny"', "radio-unknown"), ("stock = true", "stock = true\ncolour = 3", "manifest-key-unknown")],
)
def test_faults_of_the_manifest_are_told_with_the_customer(
    tmp_path: Path, bench: Bench, before: str, after: str, code: str
) -> None:
    drop = stock_drop(tmp_path / "stock", manifest=MANIFEST.replace(before, after))
    found = refused(drop, tmp_path, bench)
    assert code in {reason.code for reason in found.reasons} and found.customer == "Fern Hollow Mobile Library"


def test_stock_files_of_several_radios_are_no_drop(tmp_path: Path, bench: Bench) -> None:
    drop = stock_drop(tmp_path / "stock", manifest=MANIFEST.replace('"tiny"', '["tiny", "wide-1024x600"]'))
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with pytest.raises(Refused) as caught:
        pipeline.understand(drop, "stock", scratch, bench)
    assert "one customer and one radio" in " ".join(reason.what for reason in caught.value.reasons)


def test_no_job_is_made_of_stock_files(tmp_path: Path, bench: Bench) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with pytest.raises(Refused) as caught:
        pipeline.understand(stock_drop(tmp_path / "stock"), "stock", scratch, bench)
    (reason,) = caught.value.reasons
    assert (reason.code, reason.field) == ("stock-not-a-job", "stock") and "inbox" in reason.mend


def test_what_is_built_is_whole(tmp_path: Path, bench: Bench) -> None:
    found = opened(stock_drop(tmp_path / "stock"), tmp_path, bench)
    assert found
    (tmp_path / "staging").mkdir()
    papers = Papers(letterhead=Letterhead(name="Lantern Row Radio"))
    record = build(found, "claim", "stock", tmp_path / "staging", replace(bench, papers=papers))
    assert restore_folders.read(tmp_path / "staging") == record
    assert restore_folders.same_files(tmp_path / "staging", record, record) and len(record.files) == 2
    assert (tmp_path / "staging" / "INSTALL.txt").read_text(encoding="ascii").startswith("Lantern Row Radio")
