"""The short way onto the panel, against the long way and against arithmetic that rounds nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from keyturn.flatten import on_panel
from keyturn.flatten.transparency import flatten
from keyturn.normalize.fit import Fit, box, fitted
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop import fast_libraries

GROUND = (11, 29, 42)
FITS = [
    Fit((48, 64)),
    Fit((64, 30), "contain"),
    Fit((40, 40), "cover", (0.2, 0.9)),
    Fit((190, 130), "cover", (1.0, 0.0)),
    Fit((100, 75)),
]


def colours(mode: str, size: tuple[int, int] = (100, 75)) -> Image.Image:
    few = np.random.default_rng(3).integers(40, 216, (9, 12, len(mode)), dtype=np.uint8)
    return Image.fromarray(few).resize(size, Image.Resampling.BICUBIC)


def cut_out(size: tuple[int, int] = (400, 300)) -> Image.Image:
    """A drawing with soft edges in a corner of a clear picture, and nothing but a dot elsewhere."""
    large = Image.new("RGBA", (size[0] * 4, size[1] * 4))
    ImageDraw.Draw(large).ellipse((900, 200, 1300, 500), fill=(240, 200, 20, 255))
    ImageDraw.Draw(large).rectangle((1000, 300, 1400, 420), fill=(200, 30, 30, 128))
    return large.resize(size, Image.Resampling.BOX)


def long_way(image: Image.Image, fit: Fit) -> NDArray[np.int16]:
    return np.asarray(flatten(fitted(to_srgb(upright(image))[0], fit), GROUND)).astype(np.int16)


def short_way(image: Image.Image, fit: Fit) -> NDArray[np.int16]:
    made, _ = on_panel.shown(image, fit, GROUND)
    assert (made.mode, made.size, made.info) == ("RGB", fit.size, {})
    return np.asarray(made).astype(np.int16)


@pytest.mark.parametrize("fit", FITS)
@pytest.mark.parametrize("opaque", ["RGB", "RGBA"])
def test_opaque_art_is_the_same_to_the_last_bit_by_pillow_alone(
    fit: Fit, opaque: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fast_libraries, "library", lambda name: None)
    art = colours("RGB")
    if opaque == "RGBA":
        art.putalpha(255)
    assert (short_way(art, fit) == long_way(art, fit)).all()


@pytest.mark.parametrize("fit", FITS)
@pytest.mark.parametrize("mode", ["RGB", "RGBA"])
def test_soft_art_is_within_a_few_steps(libraries: str, fit: Fit, mode: str) -> None:
    apart = np.abs(short_way(colours(mode), fit) - long_way(colours(mode), fit))
    # Tolerance: two roundings of a resize; the long way also rounds colours weighed by alpha.
    assert apart.max() <= 4 and apart.mean() < 0.6


@pytest.mark.parametrize("fit", FITS)
def test_cut_outs_come_nearer_to_exact_arithmetic_than_the_long_way(
    libraries: str, lanczos: Callable[..., NDArray[np.float64]], fit: Fit
) -> None:
    art = cut_out()
    place = box(art.size, fit)
    pixels = np.asarray(art).astype(float)
    alpha = pixels[..., 3:] / 255
    whole = pixels[..., :3] * alpha + np.array(GROUND) * (1 - alpha)
    exact = np.full((fit.size[1], fit.size[0], 3), GROUND, float)
    (x, y), (wide, high) = place.offset, place.size
    exact[y : y + high, x : x + wide] = np.clip(lanczos(whole, place.crop, place.size), 0, 255)
    short, long = (np.abs(way(art, fit) - exact) for way in (short_way, long_way))
    assert short.mean() <= long.mean() + 0.02
    assert short.mean() < 0.25 and short.max() <= max(long.max(), 3) + 1


@pytest.mark.parametrize("fit", FITS)
def test_placing_only_what_is_seen_changes_nothing(libraries: str, fit: Fit, monkeypatch: pytest.MonkeyPatch) -> None:
    art = cut_out()
    narrow = short_way(art, fit)
    monkeypatch.setattr(on_panel, "_touched", lambda seen, place: place)
    apart = np.abs(short_way(art, fit) - narrow)
    # Tolerance: one rounding; reductions beyond six times average boxes first, and those boxes then lie elsewhere.
    assert apart.max() <= 3 and apart.mean() < 0.02


def test_clear_art_is_the_ground_and_margins_are_too(libraries: str) -> None:
    assert (short_way(Image.new("RGBA", (90, 40)), FITS[0]) == GROUND).all()
    made = short_way(Image.new("RGB", (90, 30), (200, 10, 10)), Fit((60, 60), "contain"))
    assert (made[:20] == GROUND).all() and (made[40:] == GROUND).all() and (made[20:40] == (200, 10, 10)).all()


def test_a_mere_crop_keeps_every_pixel(libraries: str) -> None:
    art = colours("RGB", (100, 75))
    made = short_way(art, Fit((40, 75), "cover", (0.5, 0.5)))
    assert (made == np.asarray(art)[:, 30:70]).all()


def test_all_else_goes_the_long_ways_steps(libraries: str) -> None:
    """Kinds that need more than cutting: greys, palettes, keys, deep greys, turns."""
    grey = colours("RGB").convert("L")
    keyed = colours("RGB")
    keyed.info["transparency"] = keyed.getpixel((50, 40))
    deep = Image.fromarray((np.asarray(grey).astype(np.int32) * 257)[:, :60])
    palette = colours("RGB").quantize(30)
    turned = colours("RGB")
    exif = Image.Exif()
    exif[0x0112] = 6
    turned.info["exif"] = exif.tobytes()
    for art in (grey, grey.convert("LA"), keyed, deep, palette, palette.convert("CMYK"), turned):
        for fit in FITS[:3]:
            apart = np.abs(short_way(art, fit) - long_way(art, fit))
            assert apart.mean() < 0.6, art.mode
    assert [r.code for r in on_panel.shown(deep, FITS[0], GROUND)[1]] == ["depth-guessed"]


def test_the_white_of_deep_greys_is_that_of_the_whole_picture(libraries: str) -> None:
    values = np.full((40, 200), 100, np.int32)
    values[:, 0] = 60_000  # outside what a square panel shows
    assert (short_way(Image.fromarray(values), Fit((20, 20))) == 0).all()


def test_the_source_picture_is_not_changed(libraries: str) -> None:
    for mode in ("RGB", "RGBA"):
        art = colours(mode)
        art.info["dpi"] = (72, 72)
        on_panel.shown(art, Fit(art.size), GROUND)[0].paste((1, 2, 3), (0, 0, 9, 9))
        assert art.info == {"dpi": (72, 72)} and (np.asarray(art) == np.asarray(colours(mode))).all()
