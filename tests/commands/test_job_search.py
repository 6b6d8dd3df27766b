"""A job is found by its name, by a revision's name, or by a path."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from keyturn.commands import job_search, make_by_hand
from keyturn.commands.stick_copy import StickFolder
from keyturn.pipeline import Bench
from keyturn.shop.reasons import ShopFault
from keyturn.shop.wrong_use import WrongUse
from samples import Drop

TWO_RADIOS = 'customer = "Fern Hollow Mobile Library"\nradio = ["tiny", "compact-800x480"]\n'


def test_a_jobs_name_is_its_newest_revision(outbox: Path) -> None:
    assert job_search.find(outbox, "van", None).folder.parent.name == "van-r2"


def test_the_newest_is_newest_by_number_not_by_letters(outbox: Path, source: StickFolder) -> None:
    customer = source.folder.parents[1]
    for number in (9, 10):
        shutil.copytree(customer / "van-r1", customer / f"van-r{number}")
    assert job_search.find(outbox, "van", None).folder.parent.name == "van-r10"


@pytest.mark.parametrize(
    ("name", "revision"),
    [
        ("van-r1", "van-r1"),
        ("fern-hollow-mobile-library/van-r1", "van-r1"),
        ("fern-hollow-mobile-library/van", "van-r2"),
    ],
)
def test_a_revision_can_be_named_in_several_ways(outbox: Path, name: str, revision: str) -> None:
    found = job_search.find(outbox, name, None)
    assert found.folder == (outbox / "fern-hollow-mobile-library" / revision / "usb").resolve()


def test_a_revision_or_its_folder_for_the_stick_can_be_named_by_its_path(
    source: StickFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for folder in (source.folder.parent, source.folder, source.folder.relative_to(tmp_path)):
        monkeypatch.chdir(tmp_path)
        assert job_search.find_direct(str(folder), None) == source
    assert job_search.find_direct("van", None) is None
    (source.folder.parent / "notes").mkdir()
    with pytest.raises(WrongUse, match=r"no folder for a stick.* usb"):
        job_search.find_direct(str(source.folder.parent / "notes"), None)


def test_the_folder_for_one_radio_names_the_radio(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    made = make_by_hand.make(drop(manifest=TWO_RADIOS, size=(800, 480), frames=1), tmp_path / "two", bench).folder
    assert made is not None
    found = job_search.find_direct(str(made / "usb-tiny"), None)
    assert found is not None and found.radio.radio == "tiny"
    with pytest.raises(WrongUse):
        job_search.find_direct(str(made / "usb-tiny"), "compact-800x480")


def test_where_two_customers_have_a_job_of_that_name_both_are_named(drop: Drop, bench: Bench, outbox: Path) -> None:
    make_by_hand.make(
        drop("other/van", frames=3, manifest='customer = "Quarry Bakery"\nradio = "tiny"\n'), outbox, bench
    )
    for name in ("van", "van-r1"):
        with pytest.raises(WrongUse) as asked:
            job_search.find(outbox, name, None)
        assert "quarry-bakery/van-r1" in asked.value.mend and "fern-hollow-mobile-library/van-r" in asked.value.mend
    assert job_search.find(outbox, "quarry-bakery/van", None).job.customer == "Quarry Bakery"


def test_for_an_unknown_job_the_known_ones_are_named(outbox: Path, tmp_path: Path) -> None:
    with pytest.raises(WrongUse) as asked:
        job_search.find(outbox, "ferry", None)
    assert "fern-hollow-mobile-library/van-r2" in asked.value.mend
    with pytest.raises(WrongUse) as asked:
        job_search.find(tmp_path / "nothing", "ferry", None)
    assert "nothing holds no job yet" in asked.value.mend


def test_a_revision_being_built_is_no_revision(outbox: Path, source: StickFolder) -> None:
    """outbox/.building/<claim> holds a complete revision for a moment before it is published."""
    shutil.copytree(source.folder.parent, outbox / ".building" / "van-r3")
    assert job_search.find(outbox, "van", None).folder.parent.name == "van-r2"


def test_a_damaged_record_is_named(outbox: Path, source: StickFolder) -> None:
    (source.folder.parent / "job.json").write_text("{")
    with pytest.raises(ShopFault, match=r"no readable job\.json"):
        job_search.find(outbox, "van", None)


def test_with_several_radios_one_must_be_named(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    make_by_hand.make(drop(manifest=TWO_RADIOS, size=(800, 480), frames=1), tmp_path / "two", bench)
    with pytest.raises(WrongUse) as asked:
        job_search.find(tmp_path / "two", "van", None)
    assert "tiny" in asked.value.mend and "compact-800x480" in asked.value.mend
    assert job_search.find(tmp_path / "two", "van", "tiny").folder.name == "usb-tiny"
    with pytest.raises(WrongUse, match="no radio wide"):
        job_search.find(tmp_path / "two", "van", "wide")
