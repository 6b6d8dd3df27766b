"""The shop's fonts, in order, and Keyturn's own typeface."""

from __future__ import annotations

from pathlib import Path

from fontTools.ttLib import TTFont

from keyturn.shop.shop_fonts import NO_FONTS, ShopFonts, own_typeface


def test_fonts_are_told_by_their_endings_and_ordered_as_people_count(tmp_path: Path) -> None:
    for name in ("10 harbour.ttf", "9 fern.OTF", "brand.woff2", "readme.txt", ".hidden.ttf", "many.ttc"):
        (tmp_path / name).touch()
    (tmp_path / "folder.ttf").mkdir()
    assert [path.name for path in ShopFonts(tmp_path).files()] == ["9 fern.OTF", "10 harbour.ttf", "brand.woff2"]


def test_a_shop_without_the_folder_has_none(tmp_path: Path) -> None:
    assert ShopFonts(tmp_path / "fonts").files() == () == NO_FONTS.files()


def test_a_font_that_is_put_in_later_is_there_for_the_next_drop(tmp_path: Path) -> None:
    fonts = ShopFonts(tmp_path)
    assert fonts.files() == ()
    (tmp_path / "brand.ttf").touch()
    assert [path.name for path in fonts.files()] == ["brand.ttf"]


def test_keyturn_s_own_typeface_is_free_and_has_latin_greek_and_cyrillic() -> None:
    """Its name table (OpenType 1.9, names 13 and 14) and its character map, read by fontTools."""
    font = TTFont(own_typeface())
    assert "SIL Open Font License, Version 1.1" in str(font["name"].getDebugName(13))
    letters = font.getBestCmap()
    for first, last in ((0x41, 0x17F), (0x391, 0x3CE), (0x400, 0x45F)):
        assert [chr(code) for code in range(first, last) if chr(code).isalpha() and code not in letters] == []
