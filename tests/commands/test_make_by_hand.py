"""One drop without a shop: what is kept, and what is left where it cannot be made."""

from __future__ import annotations

import shutil
import stat
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.pipeline import Bench
from keyturn.shop.reasons import Refused
from samples import Drop


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
    monkeypatch.chdir(tmp_path / "van.two")
    assert make_by_hand.drop_name(Path()) == "van.two"
