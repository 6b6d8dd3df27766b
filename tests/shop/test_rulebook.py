"""The rules that ship, a shop's own rules over them, and all errors at once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from keyturn.shop import rulebook
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, ShopFault


def test_the_rules_that_ship_hold_the_common_panels() -> None:
    """768 x 1024 is the common portrait panel; 1024 x 600, 1280 x 720 and 800 x 480 wide ones
    (common practice, no source)."""
    radios = rulebook.load().radios
    panels = {radio.panel.size for radio in radios.values()}
    assert {(768, 1024), (1024, 600), (1280, 720), (800, 480)} <= panels
    assert any(radio.panel.bits == 16 for radio in radios.values())
    assert len(radios) >= 5


def test_every_table_names_its_source() -> None:
    book = rulebook.load()
    others = ("name", "title", "old_keys")
    tables = [getattr(r, t) for r in book.radios.values() for t in type(r).model_fields if t not in others]
    tables = [table for table in tables if table is not None]  # what films measured stands only where there were some
    tables += [getattr(part, t) for part in (book.safety, book.intake, book.usb) for t in type(part).model_fields]
    assert all(len(table.source) > 10 for table in tables)


def test_flash_thresholds_are_those_of_wcag() -> None:
    """W3C WCAG 2.2, success criterion 2.3.1 and its threshold definitions."""
    flash = rulebook.load().safety.flash
    assert (flash.most_per_second, flash.luminance_step, flash.darker_below) == (3, 0.10, 0.80)
    assert (flash.red_ratio, flash.red_step, flash.field_share, flash.field_deg) == (0.8, 0.2, 0.25, 10.0)


def test_reserved_names_are_those_of_the_file_naming_page() -> None:
    """By 'Naming Files, Paths, and Namespaces'."""
    fat = rulebook.load().usb.fat
    assert set(fat.forbidden) == set('<>:"/\\|?*')
    assert {"CON", "PRN", "AUX", "NUL", "COM1", "COM9", "LPT1", "LPT9"} <= set(fat.reserved)
    assert fat.longest == 255


def test_the_shops_own_rules_lie_over_those_that_ship(tmp_path: Path) -> None:
    shutil.copytree(rulebook.SHIPPED / "radios", tmp_path / "radios")
    own = (tmp_path / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
    (tmp_path / "radios" / "tall-768x1024.toml").write_text(own.replace("fps_max = 30", "fps_max = 20"))
    (tmp_path / "radios" / "ours.toml").write_text(own)
    (tmp_path / "safety.toml").write_text('[flash]\non_failure = "note"\n')
    book = rulebook.load(tmp_path)
    assert _radio(book.radio("tall-768x1024")).limits.fps_max == 20
    assert _radio(book.radio("ours")).name == "ours"
    assert book.safety.flash.on_failure == "note"
    assert book.safety.flash.most_per_second == 3


def _radio(found: Radio | Reason) -> Radio:
    assert isinstance(found, Radio)
    return found


def test_every_error_of_every_file_is_told_at_once(tmp_path: Path) -> None:
    (tmp_path / "radios").mkdir()
    (tmp_path / "radios" / "odd.toml").write_text('title = "Odd"\n[panel]\nsource = "x y"\nwidth = -3\n')
    (tmp_path / "safety.toml").write_text('[flash]\non_failure = "shrug"\n')
    (tmp_path / "intake.toml").write_text("not toml at all")
    with pytest.raises(ShopFault) as caught:
        rulebook.load(tmp_path)
    text = str(caught.value)
    for expected in ("odd.toml: panel.width", "odd.toml: firmware", "safety.toml: flash.on_failure", "intake.toml"):
        assert expected in text


@pytest.mark.parametrize(
    ("logo", "said"),
    [
        ("logo?.png", "has ? in its name"),
        ("aux.png", "AUX, which Windows keeps"),
        ("BOOTANIMATION.ZIP", "differ only in capitals"),
        ("bootanimation.zip", "two files have one name"),
        ("bootanimation.zip/logo.png", "is a file and a folder"),
    ],
)
def test_a_radio_whose_files_no_stick_can_hold_is_told_when_the_rules_are_loaded(
    tmp_path: Path, logo: str, said: str
) -> None:
    (tmp_path / "radios").mkdir()
    own = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
    (tmp_path / "radios" / "dash.toml").write_text(own.replace('logo = "logo.png"', f'logo = "{logo}"'))
    with pytest.raises(ShopFault, match=r"dash\.toml: stick: ") as told:
        rulebook.load(tmp_path)
    assert said in told.value.what


def test_an_unknown_radio_names_the_nearest() -> None:
    reason = rulebook.load().radio("tall-768x1042")
    assert isinstance(reason, Reason)
    assert '"tall-768x1024"' in reason.mend


@pytest.mark.parametrize("name", ["Tall-768x1024", "tall 768 × 1024", "TALL_768X1024"])
def test_a_radio_is_found_however_its_name_is_spelt(name: str) -> None:
    book = rulebook.load()
    assert book.radio(name) == book.radios["tall-768x1024"]
    (reason,) = book.radios_renamed([name, "wide-1024x600", "unheard-of"])
    assert (reason.kind, reason.field, reason.what) == ("mended", "radio", f'"{name}" was read as "tall-768x1024"')


def test_a_name_that_two_radios_answer_to_is_unknown(tmp_path: Path) -> None:
    (tmp_path / "radios").mkdir()
    text = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text()
    (tmp_path / "radios" / "tall_768x1024.toml").write_text(text)
    book = rulebook.load(tmp_path)
    assert isinstance(book.radio("Tall 768x1024"), Reason)
    assert isinstance(book.radio("tall_768x1024"), Radio)
