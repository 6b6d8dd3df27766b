"""Fitting to the panel: the geometry, and resizing against Lanczos computed here."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from keyturn.normalize.fit import Fit, box, enlargement, fitted


def noise(*shape: int, kind: int = 0) -> NDArray[np.uint8]:
    return np.random.default_rng(kind).integers(0, 256, shape).astype(np.uint8)


# -- geometry ---------------------------------------------------------------------------------------

sides = st.integers(1, 5000)
shares = st.floats(0, 1)
fits = st.builds(
    Fit,
    size=st.tuples(st.integers(16, 2000), st.integers(16, 2000)),
    mode=st.sampled_from(["cover", "contain"]),
    focus=st.tuples(shares, shares),
)


@settings(deadline=None, max_examples=400)
@given(source=st.tuples(sides, sides), fit=fits)
def test_the_box_lies_in_the_art_and_fills_the_panel_as_asked(source: tuple[int, int], fit: Fit) -> None:
    place = box(source, fit)
    left, top, right, bottom = place.crop
    assert 0 <= left < right <= source[0] and 0 <= top < bottom <= source[1]
    for start, length, whole in zip(place.offset, place.size, fit.size, strict=True):
        assert length >= 1 and start >= 0 and start + length <= whole
        assert abs((whole - length) - 2 * start) <= 1  # margins alike on both sides
    if fit.mode == "cover":
        assert place.size == fit.size
        assert (right - left) * place.scale == pytest.approx(fit.size[0])
        assert (bottom - top) * place.scale == pytest.approx(fit.size[1])
        assert (right - left == pytest.approx(source[0])) or (bottom - top == pytest.approx(source[1]))
    else:
        assert place.crop == (0, 0, *source)
        assert fit.size[0] == place.size[0] or fit.size[1] == place.size[1]
        for length, whole in zip(place.size, source, strict=True):
            assert abs(length - whole * place.scale) <= max(0.5 + 1e-6, 1 - whole * place.scale)
    assert enlargement(source, fit) == place.scale


@settings(deadline=None, max_examples=200)
@given(source=st.tuples(sides, sides), fit=fits.filter(lambda fit: fit.mode == "cover"))
def test_cover_keeps_the_focus_and_centres_it_where_it_can(source: tuple[int, int], fit: Fit) -> None:
    left, top, right, bottom = box(source, fit).crop
    for low, high, length, share in [(left, right, source[0], fit.focus[0]), (top, bottom, source[1], fit.focus[1])]:
        at = share * length
        assert low - 0.5 <= at <= high + 0.5
        centred = abs((low + high) / 2 - at) <= 0.5 + 1e-6
        assert centred or low <= 1e-6 or high >= length - 1e-6


def test_focus_by_hand() -> None:
    # A picture twice as wide as the panel: half of it is kept.
    assert box((200, 100), Fit((50, 50), "cover", (0.5, 0.5))).crop == (50, 0, 150, 100)
    assert box((200, 100), Fit((50, 50), "cover", (0.4, 0.5))).crop == (30, 0, 130, 100)
    assert box((200, 100), Fit((50, 50), "cover", (0.9, 0.5))).crop == (100, 0, 200, 100)
    assert box((201, 100), Fit((100, 100), "cover")).crop == (50, 0, 150, 100)  # whole pixels at scale 1


# -- resizing ---------------------------------------------------------------------------------------


def lanczos(pixels: NDArray[np.float64], crop: tuple[float, float], length: int) -> NDArray[np.float64]:
    """Along axis 0, from the kernel's definition: L(x) = sinc(x) sinc(x / 3), widened when shrinking."""
    low, high = crop
    step = (high - low) / length
    widen = max(step, 1.0)
    centres = low + (np.arange(length) + 0.5) * step
    x = (np.arange(len(pixels)) + 0.5 - centres[:, None]) / widen
    weights = np.where(np.abs(x) < 3, np.sinc(x) * np.sinc(x / 3), 0)
    weights /= weights.sum(1, keepdims=True)
    return np.tensordot(weights, pixels, 1)


def reference(pixels: NDArray[np.uint8], place: tuple[float, ...], size: tuple[int, int]) -> NDArray[np.float64]:
    left, top, right, bottom = place
    tall = lanczos(pixels.astype(float), (top, bottom), size[1])
    return lanczos(tall.swapaxes(0, 1), (left, right), size[0]).swapaxes(0, 1)


@pytest.mark.parametrize("source", [(97, 61), (40, 200), (21, 17), (300, 250)])
@pytest.mark.parametrize("mode", ["cover", "contain"])
def test_resizing_is_lanczos(source: tuple[int, int], mode: str) -> None:
    mild = noise(9, 9, 3, kind=7) // 2 + 64  # no overshoot reaches black or white between the passes
    smooth = Image.fromarray(mild).resize(source, Image.Resampling.BICUBIC)
    fit = Fit((60, 48), mode, (0.3, 0.8))
    place = box(source, fit)
    wanted = np.clip(reference(np.asarray(smooth), place.crop, place.size), 0, 255)
    x, y = place.offset
    made = np.asarray(fitted(smooth, fit))[y : y + place.size[1], x : x + place.size[0], :3]
    # Tolerance: Pillow rounds to 8 bits between the two passes.
    assert np.abs(made - wanted).max() <= 2 and np.abs(made - wanted).mean() < 0.5


def test_a_large_reduction_stays_close_to_the_full_filter() -> None:
    detailed = noise(720, 960, 3, kind=9)
    fit = Fit((60, 45))
    wanted = np.clip(reference(detailed, box((960, 720), fit).crop, fit.size), 0, 255)
    apart = np.abs(np.asarray(fitted(Image.fromarray(detailed), fit)) - wanted)
    # White noise is the hardest case there is; the full filter leaves 4 to 5 steps of it either way.
    assert apart.max() <= 5 and apart.mean() < 1


def test_no_dark_fringe_grows_around_cut_out_art() -> None:
    # White lettering whose transparent surround is black underneath, as cut-out art usually is.
    pixels = np.zeros((80, 80, 4), np.uint8)
    pixels[20:60, 20:60] = 255
    made = np.asarray(fitted(Image.fromarray(pixels), Fit((33, 33))))
    seen = made[made[..., 3] > 8][:, :3]
    edge = (made[..., 3] > 8) & (made[..., 3] < 250)
    assert edge.sum() > 20 and seen.min() >= 250


def test_art_of_the_panels_size_passes_untouched() -> None:
    for mode in ("cover", "contain"):
        image = Image.fromarray(noise(32, 24, 3))
        assert fitted(image, Fit((24, 32), mode, (0.1, 0.9))) is image


def test_a_mere_crop_keeps_every_pixel() -> None:
    pixels = noise(100, 61, 3)
    made = np.asarray(fitted(Image.fromarray(pixels), Fit((61, 33), "cover", (0.5, 0.25))))
    assert (made == pixels[8:41]).all() or (made == pixels[9:42]).all()


def test_contain_leaves_clear_margins() -> None:
    made = fitted(Image.new("RGB", (100, 50), (255, 0, 0)), Fit((40, 60), "contain"))
    assert (made.mode, made.size) == ("RGBA", (40, 60))
    assert made.getbbox() == (0, 20, 40, 40)
    assert made.getpixel((20, 30)) == (255, 0, 0, 255) and made.getpixel((20, 10)) == (0, 0, 0, 0)
