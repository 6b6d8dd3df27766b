"""Light from pixels, checked against colour-science and worked values of the standards."""

from __future__ import annotations

import itertools
import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.eye import luminance
from keyturn.eye.luminance import FULL

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour

COLOURS = np.array(list(itertools.product(range(0, 256, 15), repeat=3)), np.uint8)


def planes(rgb: np.ndarray) -> tuple[np.ndarray, ...]:
    """Linear red, green and blue of sRGB codes (..., 3)."""
    return tuple(np.moveaxis(luminance.linear(rgb), -1, 0))


def test_linear_light_is_that_of_srgb() -> None:
    codes = np.arange(256, dtype=np.uint8)
    # colour-science: sRGB EOTF, IEC 61966-2-1
    assert luminance.linear(codes) == pytest.approx(colour.models.eotf_sRGB(codes / 255), abs=2e-7)


def test_relative_luminance_is_the_y_of_the_same_colour() -> None:
    # colour-science: sRGB to XYZ; its matrix has more digits than WCAG's weights, which have four
    xyz = colour.sRGB_to_XYZ(COLOURS / 255)
    assert luminance.relative_luminance(*planes(COLOURS)) == pytest.approx(xyz[:, 1], abs=1e-4)


def test_chromaticity_is_that_of_the_cie_1976_scale() -> None:
    lit = COLOURS[COLOURS.any(axis=1)]
    # colour-science: CIE 1976 UCS from XYZ, through xy
    expected = colour.xy_to_Luv_uv(colour.XYZ_to_xy(colour.sRGB_to_XYZ(lit / 255)))
    assert np.abs(np.stack(luminance.uv_planes(*planes(lit)), axis=-1) - expected).max() < 3e-4


@pytest.mark.parametrize(
    ("rgb", "distance"),
    [((255, 255, 255), 0.259), ((255, 255, 0), 0.249), ((0, 0, 255), 0.457), ((255, 128, 0), 0.132)],
)
def test_distances_from_pure_red(rgb: tuple[int, int, int], distance: float) -> None:
    states = np.array([(255, 0, 0), rgb], np.uint8)
    red, other = np.stack(luminance.uv_planes(*planes(states)), axis=-1)
    assert math.dist(red, other) == pytest.approx(distance, abs=6e-4)
    # and by colour-science, from the same colours
    a, b = colour.xy_to_Luv_uv(colour.XYZ_to_xy(colour.sRGB_to_XYZ(states / 255)))
    assert math.dist(red, other) == pytest.approx(math.dist(a, b), abs=3e-4)


def test_worked_greys() -> None:
    # Arithmetic on WCAG 2.2's formula: 90 is the first grey 0.10 above black, 231 is below 0.80 and 232 above.
    grey = [luminance.relative_luminance(*luminance.linear(np.full(3, g, np.uint8))) for g in (89, 90, 231, 232)]
    assert grey[0] < 0.10 <= grey[1]
    assert grey[2] == pytest.approx(0.7991, abs=5e-5)
    assert grey[2] < 0.80 <= grey[3]


def test_black_has_no_chromaticity() -> None:
    assert [float(plane[0]) for plane in luminance.uv_planes(*planes(np.zeros((1, 3), np.uint8)))] == [0.0, 0.0]


def area_mean(rgb: np.ndarray, cell: float) -> np.ndarray:
    """Each cell's mean by overlap of intervals, one cell at a time: slow, and written apart from the package."""
    light = colour.models.eotf_sRGB(rgb / 255)
    height, width = rgb.shape[:2]
    rows, cols = math.ceil(height / cell), math.ceil(width / cell)
    out = np.empty((rows, cols, 3))
    for r, c in itertools.product(range(rows), range(cols)):
        tall = [max(0.0, min(y + 1, (r + 1) * cell) - max(y, r * cell)) for y in range(height)]
        wide = [max(0.0, min(x + 1, (c + 1) * cell) - max(x, c * cell)) for x in range(width)]
        weight = np.outer(tall, wide)
        out[r, c] = (light * weight[..., None]).sum(axis=(0, 1)) / weight.sum()
    return out


@settings(deadline=None, max_examples=40)
@given(
    st.integers(1, 24),
    st.integers(1, 24),
    st.sampled_from([1.25, 2.0, 3.41, 5.95, 7.5, 30.0]),
    st.integers(0, 2**32 - 1),
    st.sampled_from([0.0, 0.5, 0.9]),
)
def test_cells_are_area_means_of_linear_light(height: int, width: int, cell: float, key: int, equal: float) -> None:
    """A share of the lines equals the line above."""
    dice = np.random.default_rng(key)
    rgb = dice.integers(0, 256, (height, width, 3), dtype=np.uint8)
    rgb = rgb[np.maximum.accumulate(np.where(dice.random(height) < equal, 0, np.arange(height)))]
    cells = luminance.cells(rgb, cell)
    assert cells.dtype == np.uint16
    assert np.abs(cells / FULL - area_mean(rgb, cell)).max() <= 1.01 / FULL


def test_a_cell_smaller_than_a_pixel_is_a_pixel() -> None:
    rgb = np.random.default_rng(5).integers(0, 256, (4, 7, 3), dtype=np.uint8)
    assert np.array_equal(luminance.cells(rgb, 0.4), np.rint(colour.models.eotf_sRGB(rgb / 255) * FULL))
