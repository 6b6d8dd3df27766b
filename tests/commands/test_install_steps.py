"""Steps say what they would do, do it, and can be done again."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from keyturn.commands.install_steps import RemovePath, RunProgram, WriteFile
from keyturn.shop.reasons import ShopFault


def test_a_file_is_written_once_and_readable_by_all(tmp_path: Path) -> None:
    step = WriteFile(tmp_path / "etc" / "a.conf", "one\n")
    assert step.told() == f"write {step.path}" and not step.path.exists()
    assert step.do() == f"wrote {step.path}" and step.path.read_text() == "one\n"
    assert stat.S_IMODE(step.path.stat().st_mode) == 0o644
    assert "as it should be" in step.told() and "as it should be" in step.do()
    step.path.write_text("old")
    assert step.do() == f"wrote {step.path}" and step.path.read_text() == "one\n"


def test_what_belongs_to_the_operator_stays(tmp_path: Path) -> None:
    step = WriteFile(tmp_path / "keyturn.toml", "one\n", keep=True)
    step.do()
    step.path.write_text("mine")
    assert "leave" in step.told() and "stays" in step.do() and step.path.read_text() == "mine"


def test_a_program_that_fails_ends_it_with_its_last_line() -> None:
    step = RunProgram(("sh", "-c", "echo first >&2; echo no such user >&2; exit 3"))
    with pytest.raises(ShopFault, match="code 3: no such user"):
        step.do()
    with pytest.raises(ShopFault, match="no-such-program is not installed"):
        RunProgram(("no-such-program",)).do()
    assert RunProgram(("true",)).do() == "ran true" and RunProgram(("true", "x")).told() == "run true x"


def test_a_program_that_may_fail_is_told_whole() -> None:
    told = RunProgram(("sh", "-c", "echo mind the clock; exit 2"), may_fail=True).do()
    assert told.splitlines()[-1] == "mind the clock"


def test_files_folders_and_links_are_removed_and_what_links_lead_to_stays(tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    (tmp_path / "folder" / "in").mkdir(parents=True)
    (tmp_path / "file").write_text("")
    (tmp_path / "link").symlink_to(tmp_path / "kept")
    for name in ("folder", "file", "link"):
        step = RemovePath(tmp_path / name)
        assert step.told() == f"remove {step.path}" and step.do() == f"removed {step.path}"
        assert "not there" in step.told() and "not there" in step.do()
    assert [path.name for path in tmp_path.iterdir()] == ["kept"]
    empty = RemovePath(tmp_path / "kept", if_empty=True)
    (tmp_path / "kept" / "mine").write_text("")
    assert "holds files of yours" in empty.told() and "holds files of yours" in empty.do()
    (tmp_path / "kept" / "mine").unlink()
    assert empty.do() == f"removed {empty.path}"
