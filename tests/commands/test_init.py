"""`keyturn init`: a shop's folders and its settings file."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from samples import Run


def test_init_sets_up_a_shop_and_leaves_a_settings_file_alone(run: Run, tmp_path: Path) -> None:
    assert run("init", tmp_path / "shop") == 0
    (tmp_path / "shop" / "keyturn.toml").write_text("workers = 1\n")
    assert run("init", tmp_path / "shop") == 0
    assert (tmp_path / "shop" / "keyturn.toml").read_text() == "workers = 1\n"
    assert run("status", "--root", tmp_path / "shop") == 0


@pytest.mark.parametrize("umask", [0o077, 0o022, 0o002], ids=oct)
def test_init_opens_the_shop_to_its_group_and_closes_it_to_everybody_else(run: Run, tmp_path: Path, umask: int) -> None:
    """inode(7): the last three bits are for others, the three before them for the group."""
    before = os.umask(umask)
    try:
        assert run("init", tmp_path / "shop") == 0
    finally:
        os.umask(before)
    made = [tmp_path / "shop", *(tmp_path / "shop").rglob("*")]
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in made}
    assert len(modes) == 10
    assert all(mode & 0o007 == 0 and mode & 0o040 for mode in modes.values())
    assert {name for name, mode in modes.items() if mode & 0o020} == {"inbox", "outbox", "rejects"}
    assert modes["outbox"] & stat.S_ISVTX
