"""Doctor says whether words in every script can be set, and which of the shop's fonts cannot be used."""

from __future__ import annotations

import pytest
from PIL import features

import font_samples
from keyturn.commands import words_health
from keyturn.commands.finding import Finding, Health
from keyturn.shop.folders import Shop


def told(shop: Shop) -> list[Finding]:
    return list(words_health.words(shop))


def without(monkeypatch: pytest.MonkeyPatch, *missing: str) -> None:
    monkeypatch.setattr(features, "check", lambda name: name not in missing)


def test_with_raqm_and_fribidi_all_is_well_and_their_versions_are_named(shop: Shop) -> None:
    if not (features.check("raqm") and features.check("fribidi")):
        pytest.skip("this machine has no FriBidi (apt install libfribidi0)")
    (only,) = told(shop)
    assert only.health is Health.WELL and f"FriBidi {features.version('fribidi')}" in only.what


@pytest.mark.parametrize(("missing", "remedy"), [(("fribidi",), "libfribidi0"), (("raqm", "fribidi"), "wheels")])
def test_without_them_the_words_that_are_refused_are_told_with_a_remedy(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, missing: tuple[str, ...], remedy: str
) -> None:
    without(monkeypatch, *missing)
    (only,) = told(shop)
    assert only.health is Health.MIND and "refused" in only.what and remedy in only.remedy


def test_fonts_are_counted_and_broken_ones_named(shop: Shop) -> None:
    (shop.fonts / "brand.ttf").write_bytes(font_samples.font({"F": 500}))
    (shop.fonts / "broken.otf").write_bytes(b"OTTO and no more")
    _, broken, sound = told(shop)
    assert broken.health is Health.MIND and "fonts/broken.otf" in broken.what and broken.remedy
    assert sound.health is Health.WELL and "1 font of the shop" in sound.what
