"""What `keyturn doctor` says about the profiles of the shop's radios, beside whether they can be read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import PurePosixPath

from keyturn.commands.finding import Finding, Health, well
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.radio_profile import LOGO_ENDINGS, Radio
from keyturn.shop.reasons import ShopFault


def radios(shop: Shop) -> Iterator[Finding]:
    """Tell of keys of older Keyturns, and of logos that are no PNG or JPEG. Unreadable rules are told elsewhere."""
    try:
        known = rulebook.load(shop.rules).radios
    except (ShopFault, OSError):
        return
    for radio in known.values():
        yield from _old_keys(radio)
        yield from _logo(radio)


def _old_keys(radio: Radio) -> Iterator[Finding]:
    """Tell of a profile that still has facts of the player where older Keyturns had them."""
    if radio.old_keys:
        what = f"radio {radio.name} has older keys: {', '.join(radio.old_keys)}; they still work"
        generation = radio.player.generation
        remedy = f'write [player] with generation = "{generation}" instead: rules/players.toml has its facts'
        yield Finding(Health.MIND, what, remedy)


def _logo(radio: Radio) -> Iterator[Finding]:
    """Tell how a BMP is made, and of a file name that promises another kind than is made."""
    logo, name = radio.logo, radio.stick.logo
    if told := bmp_told(radio):
        yield well(f"radio {told}")
    elif any(PurePosixPath(name).suffix.lower() in ends for kind, ends in LOGO_ENDINGS.items() if kind != logo.made):
        what = f"radio {radio.name} gets its logo as {logo.words}, called {name}"
        yield Finding(Health.MIND, what, "write the logo's file name under [stick], or its formats under [logo], anew")


def bmp_told(radio: Radio) -> str | None:
    """Return how the radio's logo is made, where it is a BMP; else None."""
    layout = radio.logo.bmp
    size = f"{layout.file_bytes(radio.panel.size):,} bytes" if layout else ""
    return f"{radio.name} gets its logo as {radio.logo.words}, {size}, called {radio.stick.logo}" if layout else None


def filmed_told(radio: Radio) -> str | None:
    """Return what films of the radio's starts measured, with its spread; None where none was given."""
    if (filmed := radio.filmed) is None:
        return None
    off = f"within {2 * filmed.interval_error_ms:.1f} ms, {filmed.spread_ms:.1f} ms from film to film"
    said = [f"a frame took {filmed.interval_ms:.1f} ms ({off})"]
    costs = (
        ("drawing", filmed.draw_ms, filmed.draw_error_ms),
        ("decoding a plain one", filmed.plain_ms, filmed.plain_error_ms),
        ("a detailed one", filmed.detailed_ms, filmed.detailed_error_ms),
    )
    said += [f"{what} {ms:.0f} ms (within {2 * (error or 0):.0f})" for what, ms, error in costs if ms is not None]
    said.append(f"boots are known within {2 * filmed.boot_error_ms:.0f} ms")
    films = f"{filmed.starts} film{'s' * (filmed.starts != 1)}"
    return f"{radio.name} on {films} of a stick at {filmed.fps} fps: {', '.join(said)}"
