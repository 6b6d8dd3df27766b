"""A user's caches lie where the XDG Base Directory Specification 0.8 has them."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.shop.user_cache import user_cache


@pytest.mark.parametrize("wanted", ["", "caches"])
def test_by_default_they_lie_in_the_home(wanted: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """ "All paths set in these environment variables must be absolute": others are passed over."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", wanted)
    assert user_cache() == tmp_path / ".cache" / "keyturn"


def test_they_lie_where_the_user_wants_them(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "caches"))
    assert user_cache() == tmp_path / "caches" / "keyturn"


def test_a_user_without_a_home_has_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_home(path: Path) -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setattr(Path, "expanduser", no_home)
    assert user_cache() is None
