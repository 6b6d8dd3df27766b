"""RGB565 by the panel's own arithmetic; ordered dithering and the measure that it lowers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.eye import banding


def gradient(kind: str) -> np.ndarray:
    y, x = np.indices((96, 512))
    slow = {
        "grey": [x // 8] * 3,
        "blue dusk": [x // 24, x // 12 + 20, x // 6 + 60],
        "slanted": [(x + y) // 10, (x + y) // 12 + 60, (x - y) // 9 + 100],
    }[kind]
    return np.stack(slow, axis=-1).astype(np.uint8)


def packed_and_unpacked(rgb: np.ndarray) -> np.ndarray:
    """Through a 16-bit word RRRRRGGGGGGBBBBB and back with the high bits repeated in the low ones."""
    r, g, b = (rgb[..., c].astype(np.uint16) for c in range(3))
    word = (r >> 3) << 11 | (g >> 2) << 5 | b >> 3
    r5, g6, b5 = word >> 11, word >> 5 & 0x3F, word & 0x1F
    return np.stack([r5 << 3 | r5 >> 2, g6 << 2 | g6 >> 4, b5 << 3 | b5 >> 2], axis=-1).astype(np.uint8)


PICTURES = st.integers(0, 2**32 - 1).map(
    lambda key: np.random.default_rng(key).integers(0, 256, (9, 17, 3), dtype=np.uint8)
)


@settings(deadline=None, max_examples=30)
@given(PICTURES)
def test_quantising_is_the_way_through_a_16_bit_word(rgb: np.ndarray) -> None:
    # bit layout and bit replication of RGB565: common practice, no source
    assert np.array_equal(banding.quantised(rgb), packed_and_unpacked(rgb))


@settings(deadline=None, max_examples=30)
@given(PICTURES)
def test_a_dithered_picture_goes_through_the_panel_unchanged(rgb: np.ndarray) -> None:
    shown = banding.dithered(rgb)
    assert shown.dtype == np.uint8 and shown.shape == rgb.shape
    assert np.array_equal(packed_and_unpacked(shown), shown)
    assert (np.abs(shown.astype(int) - rgb).max(axis=(0, 1)) <= [9, 5, 9]).all()  # one step of the panel
    assert np.array_equal(banding.dithered(shown), shown)


@pytest.mark.parametrize("code", [0, 1, 3, 90, 127, 200, 251, 254, 255])
def test_dithering_keeps_the_mean_of_a_flat_area(code: int) -> None:
    shown = banding.dithered(np.full((64, 64, 3), code, np.uint8))
    assert np.abs(shown.mean(axis=(0, 1)) - code).max() < 0.15


def test_the_matrix_is_bayers() -> None:
    # Bayer 1973; the 4 x 4 matrix as printed in handbooks of computer graphics
    printed = [[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]]
    assert np.array_equal(banding.bayer(2) * 16 - 0.5, printed)
    assert np.array_equal(np.sort((banding.bayer() * 64 - 0.5).ravel()), np.arange(64))


@pytest.mark.parametrize("kind", ["grey", "blue dusk", "slanted"])
def test_dithering_removes_most_banding_from_a_gradient(kind: str) -> None:
    picture = gradient(kind)
    cut = banding.banding(picture, banding.quantised(picture))
    dithered = banding.banding(picture, banding.dithered(picture))
    assert cut > 0.3
    assert dithered < cut / 4


def test_no_banding_where_nothing_changed_or_all_of_it_alike() -> None:
    picture = gradient("grey")
    assert banding.banding(picture, picture) == 0
    assert banding.banding(picture, picture + np.uint8(3)) == pytest.approx(0, abs=1e-6)


def test_coarser_bands_are_worse() -> None:
    picture = gradient("grey")
    coarse = picture // 16 * 16
    assert banding.banding(picture, coarse) > 1.5 * banding.banding(picture, banding.quantised(picture))


def test_pictures_of_two_sizes_are_an_error() -> None:
    with pytest.raises(ValueError, match="cannot be compared"):
        banding.banding(np.zeros((8, 8, 3), np.uint8), np.zeros((8, 9, 3), np.uint8))
