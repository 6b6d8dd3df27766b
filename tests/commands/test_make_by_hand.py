"""One drop without a shop: what is kept, and what is left where it cannot be made."""

from __future__ import annotations

import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.outbox import record_files
from keyturn.pipeline import Bench
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Kind, Refused, only
from samples import PATIENCE_S, Drop, with_rows


def held(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_the_revision_and_the_sheet_are_where_the_result_says(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    result = make_by_hand.make(drop(), tmp_path / "out", bench)
    assert result.folder == tmp_path / "out" / "fern-hollow-mobile-library" / "van-r1"
    assert result.sheet is not None and result.sheet.parent == result.folder.parent
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["fern-hollow-mobile-library"], "nothing else is left"
    assert stat.S_IMODE(result.folder.stat().st_mode) == 0o755


def test_a_drop_made_again_is_the_next_revision(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop()
    folders = [make_by_hand.make(root, tmp_path / "out", bench).folder for _ in range(3)]
    assert [folder.name for folder in folders if folder] == ["van-r1", "van-r2", "van-r3"]


def test_five_processes_that_make_one_job_at_once_take_five_numbers(shop: Shop, drop: Drop, tmp_path: Path) -> None:
    """The processes are real ones: five of `keyturn make`, started together, into one folder that is not there yet."""
    root, out = drop(frames=3), tmp_path / "out"
    call = [sys.executable, "-m", "keyturn", "make", str(root), "--out", str(out), "--root", str(shop.root)]
    started = [subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) for _ in range(5)]
    said = [process.communicate(timeout=PATIENCE_S)[0] for process in started]
    assert [process.returncode for process in started] == [0] * 5, said
    folders = sorted((out / "fern-hollow-mobile-library").glob("van-r*"))
    assert [folder.name for folder in folders] == [f"van-r{n}" for n in range(1, 6)]
    records = [record_files.read_job(folder) for folder in folders]
    assert [record and record.revision for record in records] == [1, 2, 3, 4, 5]
    assert not [path for path in out.iterdir() if path.name.startswith(".")]
    sheet = (folders[0].parent / "proof.html").read_text(encoding="utf-8")
    assert "revision 5" in sheet, "the sheet knows the newest, whoever wrote it last"


def test_a_number_that_another_process_is_building_is_passed_over(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "out" / ".building-fern-hollow-mobile-library--van-r1").mkdir(parents=True)
    made = make_by_hand.make(drop(), tmp_path / "out", bench)
    assert made.folder is not None and made.folder.name == "van-r2"
    assert made.made.record.revision == 2


def test_a_refused_drop_leaves_nothing(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop(manifest='customer = "Fern Hollow Mobile Library"\nradio = "tinny"\n')
    with pytest.raises(Refused):
        make_by_hand.make(root, tmp_path / "out", bench)
    assert list((tmp_path / "out").iterdir()) == []


def test_the_drop_is_not_changed(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop()
    before = held(root)
    packed = Path(shutil.make_archive(str(tmp_path / "packed"), "zip", root))
    zipped = packed.read_bytes()
    make_by_hand.make(root, tmp_path / "a", bench)
    make_by_hand.make(packed, tmp_path / "b", bench)
    assert held(root) == before and packed.read_bytes() == zipped


def test_check_finds_what_make_finds_and_keeps_nothing(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop()
    made, checked = make_by_hand.make(root, tmp_path / "out", bench), make_by_hand.check(root, bench)
    assert (checked.folder, checked.sheet) == (None, None)
    assert checked.made.record.reasons == made.made.record.reasons
    assert [r.reasons for r in checked.made.record.radios] == [r.reasons for r in made.made.record.radios]


def test_a_drop_that_is_not_there_is_refused(bench: Bench, tmp_path: Path) -> None:
    with pytest.raises(Refused) as caught:
        make_by_hand.check(tmp_path / "ghost", bench)
    assert [reason.code for reason in caught.value.reasons] == ["drop-missing"]


def test_a_job_is_named_after_its_folder_or_its_zip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "van.two").mkdir()
    (tmp_path / "van.zip").write_bytes(b"")
    assert make_by_hand.drop_name(tmp_path / "van.two") == "van.two"
    assert make_by_hand.drop_name(tmp_path / "van.zip") == "van"
    (tmp_path / "van.tar.gz").write_bytes(b"")
    assert make_by_hand.drop_name(tmp_path / "van.tar.gz") == "van"
    monkeypatch.chdir(tmp_path / "van.two")
    assert make_by_hand.drop_name(Path()) == "van.two"


FLEET = 'each = "fleet.csv"\nradio = "tiny"\n'


def test_each_row_of_a_fleet_is_a_revision_and_each_customer_has_one_sheet(
    drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    root = with_rows(drop("vans", frames=3, manifest=FLEET), "customer;job", "Fern;one", "Fern;two", "Ada;one")
    result = make_by_hand.make(root, tmp_path / "out", bench)
    made = (result, *result.others)
    folders = [each.folder.relative_to(tmp_path / "out").as_posix() for each in made if each.folder]
    assert folders == ["fern/one-r1", "fern/two-r1", "ada/one-r1"]
    assert [each.sheet.parent.name for each in made if each.sheet] == ["fern", "fern", "ada"]
    assert result.refused is None and not list((tmp_path / "out").glob(".building*"))
    assert len(make_by_hand.check(root, bench).others) == 2


def test_a_faulty_row_of_a_fleet_leaves_nothing_unless_the_good_ones_are_wanted(
    drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    rows = ["customer;job;radio", "Fern;one;", "Fern;two;tinny", "Ada;one;tiny"]
    with pytest.raises(Refused):
        make_by_hand.make(with_rows(drop("vans", manifest=FLEET), *rows), tmp_path / "out", bench)
    assert list((tmp_path / "out").iterdir()) == []
    root = with_rows(drop("good", manifest=FLEET + "each_good = true\n"), *rows)
    result = make_by_hand.make(root, tmp_path / "out", bench)
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["ada", "fern"]
    assert result.refused and [reason.field for reason in only(result.refused.reasons, Kind.REFUSE)] == ["C3"]
    looked = make_by_hand.look(root, bench)
    assert isinstance(looked.outcome, make_by_hand.MadeByHand) and looked.outcome.refused
    assert "Fern" in looked.page
