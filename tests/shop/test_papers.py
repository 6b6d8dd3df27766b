"""The shop's name on its papers: as the settings say it, and a logo of which only the pixels are passed on."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import pytest
from PIL import Image

from keyturn.shop import papers, settings
from keyturn.shop.folders import Shop
from keyturn.shop.papers import LOGO_PX, Papers
from keyturn.shop.reasons import ShopFault

SHOP = """[shop]
name = "Lantern Row Radio"
address = ["2 Mill Lane", "Fern Hollow"]
mail = "shop@example.org"
website = "https://example.org"
logo = "logo.png"
[sheet]
megabytes = 3
"""


def of(shop: Shop, text: str) -> Papers:
    (shop.root / "keyturn.toml").write_text(text, encoding="utf-8")
    return papers.of_shop(settings.load(shop.root), shop.root)


def opened(uri: str) -> Image.Image:
    return Image.open(io.BytesIO(base64.b64decode(uri.partition(",")[2])))


def test_the_papers_bear_what_the_settings_say(shop: Shop) -> None:
    Image.new("RGB", (40, 20), (200, 0, 0)).save(shop.root / "logo.png")
    made = of(shop, SHOP)
    assert made.sheet_mb == 3
    assert (made.letterhead.name, made.letterhead.address) == ("Lantern Row Radio", ("2 Mill Lane", "Fern Hollow"))
    assert opened(made.letterhead.logo).convert("RGB").getpixel((0, 0)) == (200, 0, 0)


def test_a_shop_without_settings_for_it_has_no_letterhead(shop: Shop) -> None:
    assert not of(shop, "").letterhead


def test_the_logo_is_made_small_and_written_anew(shop: Shop) -> None:
    """Nothing of its file is passed on but its pixels: no text, no profile (PNG specification, tEXt and iCCP)."""
    exif = Image.Exif()
    exif[0x010E] = "where the shop's key lies"
    Image.new("RGB", (3000, 500), (9, 9, 9)).save(shop.root / "logo.png", exif=exif, icc_profile=b"profile")
    uri = of(shop, SHOP).letterhead.logo
    data = base64.b64decode(uri.partition(",")[2])
    assert opened(uri).size == (LOGO_PX[0], 80)
    assert b"key lies" not in data and b"iCCP" not in data and b"eXIf" not in data


@pytest.mark.parametrize("data", [b"", b"<svg/>", b"\x89PNG\r\n\x1a\nbroken"], ids=["empty", "drawing", "broken"])
def test_a_logo_that_is_no_picture_is_left_out_and_the_shop_works_on(shop: Shop, data: bytes) -> None:
    (shop.root / "logo.png").write_bytes(data)
    made = of(shop, SHOP)
    assert made.letterhead.name and not made.letterhead.logo


def test_a_missing_logo_is_left_out(shop: Shop) -> None:
    assert not of(shop, SHOP).letterhead.logo


def test_a_link_in_the_logos_place_is_not_followed(shop: Shop, tmp_path: Path) -> None:
    Image.new("RGB", (4, 4)).save(tmp_path / "elsewhere.png")
    (shop.root / "logo.png").symlink_to(tmp_path / "elsewhere.png")
    assert not of(shop, SHOP).letterhead.logo


@pytest.mark.parametrize(
    "line", ['mail = "javascript:alert(1)"', 'website = "javascript:alert(1)"', 'mail = "a@b?bcc=c@d"', 'logos = "x"']
)
def test_an_address_that_is_none_is_told(shop: Shop, line: str) -> None:
    with pytest.raises(ShopFault, match="shop"):
        of(shop, f"[shop]\n{line}\n")


def test_the_papers_are_in_the_shops_language(shop: Shop) -> None:
    assert of(shop, 'language = "pl"\n').letterhead.language == "pl"
    assert of(shop, "").letterhead.language == "en"
    with pytest.raises(ShopFault, match="language"):
        of(shop, 'language = "Klingon"\n')
