"""Doctor says where the shop's name, its mail address or its logo is missing from its papers."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from keyturn.commands import papers_health
from keyturn.commands.finding import Health
from keyturn.shop.folders import Shop

NAMED = '[shop]\nname = "Lantern Row Radio"\nmail = "shop@example.org"\n'


def said(shop: Shop, text: str) -> list[tuple[Health, str, str]]:
    (shop.root / "keyturn.toml").write_text(text, encoding="utf-8")
    return [(f.health, f.what, f.remedy) for f in papers_health.papers(shop)]


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        ("", "the shop's name"),
        ('[shop]\nmail = "shop@example.org"\n', "the shop's name"),
        ('[shop]\nname = "X"\n', "mail"),
    ],
)
def test_what_is_missing_is_named_with_its_key(shop: Shop, text: str, missing: str) -> None:
    ((health, what, remedy),) = said(shop, text)
    assert health is Health.MIND and missing in what and "[shop] in keyturn.toml" in remedy


def test_a_shop_with_name_and_mail_is_well(shop: Shop) -> None:
    assert [(health, "Lantern Row Radio" in what) for health, what, _ in said(shop, NAMED)] == [(Health.WELL, True)]
    Image.new("RGB", (40, 20)).save(shop.root / "logo.png")
    assert [health for health, _, _ in said(shop, NAMED + 'logo = "logo.png"\n')] == [Health.WELL]


def _missing(path: Path) -> None:
    pass


def _folder(path: Path) -> None:
    path.mkdir()


def _drawing(path: Path) -> None:
    path.write_bytes(b"<svg/>")


@pytest.mark.parametrize(
    ("make", "why"), [(_missing, "there is no file logo.png"), (_folder, "no plain file"), (_drawing, "no whole PNG")]
)
def test_a_logo_that_cannot_be_used_is_named_with_the_reason(shop: Shop, make: object, why: str) -> None:
    assert callable(make)
    make(shop.root / "logo.png")
    _, (health, what, remedy) = said(shop, NAMED + 'logo = "logo.png"\n')
    assert health is Health.MIND and "logo.png" in what and why in what and remedy


def test_settings_that_cannot_be_read_are_told_elsewhere(shop: Shop) -> None:
    assert said(shop, "= nothing") == []
