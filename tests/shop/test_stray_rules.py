"""Files in rules/ from which nothing is read are found, and none of those that are read."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from keyturn.shop import rulebook
from keyturn.shop.stray_rules import stray_rules


def test_all_that_ships_is_read(tmp_path: Path) -> None:
    shutil.copytree(rulebook.SHIPPED, tmp_path / "rules")
    assert list(stray_rules(tmp_path / "rules")) == []


def test_a_shop_without_rules_of_its_own_has_no_strays(tmp_path: Path) -> None:
    assert list(stray_rules(tmp_path / "nowhere")) == []


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("saftey.toml", "call it safety.toml"),
        ("safety.toml~", "call it safety.toml"),
        ("tall.toml", "belongs in radios"),
        ("radio/tall.toml", "call it radios"),
        ("radios/tall.toml~", "call it tall.toml"),
        ("radios/tall.toml.bak", "call it tall.toml"),
        ("radios/.tall.toml.swp", "call it name.toml"),
        ("radios/TALL.TOML", "call it TALL.toml"),
        ("radios/old/tall.toml", "remove it"),
    ],
)
def test_a_file_that_is_not_read_is_found_with_what_to_do(tmp_path: Path, name: str, hint: str) -> None:
    path = tmp_path / name
    path.parent.mkdir(exist_ok=True, parents=True)
    path.write_text("")
    ((found, mend),) = stray_rules(tmp_path)
    assert found == path or found in path.parents
    assert hint in mend
