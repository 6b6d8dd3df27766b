"""A folder that cannot be listed is not taken for an empty one."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from pathlib import Path

import pytest

from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.listing import listed


def test_entries_are_found_by_the_shell_s_patterns_and_sorted(tmp_path: Path) -> None:
    for name in ("wide.toml", "tall.toml", "notes.txt", ".hidden.toml"):
        (tmp_path / name).touch()
    assert [path.name for path in listed(tmp_path, "*.toml")] == [".hidden.toml", "tall.toml", "wide.toml"]
    assert listed(tmp_path / "nothing", "*") == []


def test_a_folder_that_the_disk_does_not_list_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(path: Path) -> Iterator[Path]:
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    monkeypatch.setattr(Path, "iterdir", fails)
    with pytest.raises(PermissionError):
        listed(tmp_path, "*")


def test_radios_that_cannot_be_listed_are_no_missing_radios(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else every drop for one of the shop's own radios would be refused."""
    real = Path.iterdir

    def fails(path: Path) -> Iterator[Path]:
        if path == shop.rules / "radios":
            raise OSError(errno.EIO, "Input/output error", str(path))
        return real(path)

    assert "tiny" in rulebook.load(shop.rules).radios
    monkeypatch.setattr(Path, "iterdir", fails)
    with pytest.raises(OSError, match="Input/output"):
        rulebook.load(shop.rules)
