"""`keyturn init`: a shop's folders and its settings file."""

from __future__ import annotations

from pathlib import Path

from samples import Run


def test_init_sets_up_a_shop_and_leaves_a_settings_file_alone(run: Run, tmp_path: Path) -> None:
    assert run("init", tmp_path / "shop") == 0
    (tmp_path / "shop" / "keyturn.toml").write_text("workers = 1\n")
    assert run("init", tmp_path / "shop") == 0
    assert (tmp_path / "shop" / "keyturn.toml").read_text() == "workers = 1\n"
    assert run("status", "--root", tmp_path / "shop") == 0
