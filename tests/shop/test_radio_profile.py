"""The profile of one radio: what it may hold, and degrees of the visual field."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from keyturn.shop import rulebook
from keyturn.shop.radio_profile import Panel, Radio
from keyturn.shop.reasons import ShopFault


def test_degrees_follow_from_the_panels_width_and_the_eyes_distance() -> None:
    """Plane geometry: a field of ten degrees at 700 mm is 2 x 700 x tan(5 deg) = 122.5 mm wide."""
    panel = Panel(source="test", width=1000, height=500, width_mm=200, view_mm=700)
    assert 10 * panel.degree_px == pytest.approx(2 * 700 * math.tan(math.radians(5)) / 200 * 1000)


@pytest.mark.parametrize(
    ("table", "wrong"),
    [
        ("fps_max = 30", "fps_max = 0"),
        ("shortest = 16", "shortest = 60"),
        ('animation = "bootanimation.zip"', 'animation = "../bootanimation.zip"'),
        ('animation = "bootanimation.zip"', 'animation = "boot.zip"'),
        ('source = "', 'sauce = "'),
    ],
)
def test_a_profile_that_cannot_be_is_refused(tmp_path: Path, table: str, wrong: str) -> None:
    text = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
    assert table in text
    (tmp_path / "radios").mkdir()
    (tmp_path / "radios" / "odd.toml").write_text(text.replace(table, wrong))
    with pytest.raises(ShopFault, match=r"odd\.toml"):
        rulebook.load(tmp_path)


def shipped(**tables: dict[str, Any]) -> dict[str, Any]:
    """The tall radio's file with keys of some tables replaced."""
    text = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
    profile = {"name": "tall-768x1024"} | tomllib.loads(text)
    return profile | {table: profile[table] | keys for table, keys in tables.items()}


def test_every_table_of_a_profile_is_needed() -> None:
    whole = shipped()
    assert Radio.model_validate(whole).panel.size == (768, 1024)
    for table in whole:
        with pytest.raises(ValidationError, match=table):
            Radio.model_validate({key: value for key, value in whole.items() if key != table})


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"limits": {"fps_min": 20, "fps_max": 12}}, "fps_min 20 is above fps_max 12"),
        ({"boot": {"shortest": 16, "usual": 15, "longest": 21}}, "must not descend"),
        ({"stick": {"logo": "/logo.png"}}, "plain path inside the stick"),
        ({"stick": {"logo": "a\\logo.png"}}, "plain path inside the stick"),
        ({"player": {"part_types": ["p", "x"]}}, "'p', 'c' or 'f'"),
        ({"screen": {"camera": True}}, "screen.camera"),
        ({"logo": {"formats": []}}, "logo.formats"),
        ({"logo": {"formats": ["bmp"]}}, "a BMP is made, and [stick] calls it logo.png"),
        ({"logo": {"exact_bytes": 2_000_000}}, "exact_bytes needs formats that begin with bmp"),
        ({"logo": {"formats": ["bmp"], "exact_bytes": 2000}}, "has at least 2359350 bytes"),
        ({"logo": {"formats": ["bmp"], "max_kib": 1024}}, "has 2359350 bytes, above max_kib = 1024"),
        ({"logo": {"formats": ["bmp"], "bmp_bits": 15}}, "logo.bmp_bits"),
    ],
)
def test_an_error_says_what_is_wrong(tables: dict[str, dict[str, Any]], says: str) -> None:
    with pytest.raises(ValidationError) as caught:
        Radio.model_validate(shipped(**tables))
    assert says in str(caught.value)


def test_a_profile_cannot_be_changed() -> None:
    radio = Radio.model_validate(shipped())
    with pytest.raises(ValidationError, match="frozen"):
        radio.title = "another"  # type: ignore[misc]
