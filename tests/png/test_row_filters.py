"""Row filters, undone by the specification's own formulas and by Pillow's decoder."""

from __future__ import annotations

import io
import itertools
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from keyturn.png import png_writer, row_filters

U8 = NDArray[np.uint8]


def paeth_predictor(a: int, b: int, c: int) -> int:
    """PNG specification, third edition, 9.4, line by line."""
    p = a + b - c
    pa, pb, pc = abs(p - a), abs(p - b), abs(p - c)
    if pa <= pb and pa <= pc:
        return a
    return b if pb <= pc else c


def unfiltered(filtered: U8) -> U8:
    """PNG specification, third edition, 9.2: Recon(x) of each filter type, byte by byte, for 3 bytes a pixel."""
    before = [0] * (filtered.shape[1] - 1)
    made = []
    for kind, *row in filtered.tolist():
        now: list[int] = []
        for i, value in enumerate(row):
            a, c = (now[i - 3], before[i - 3]) if i >= 3 else (0, 0)
            b = before[i]
            now.append((value + (0, a, b, (a + b) // 2, paeth_predictor(a, b, c))[kind]) & 255)
        made.append(now)
        before = now
    return np.array(made, np.uint8).reshape(len(made), -1, 3)


def noise(height: int, width: int, coarse: int, kind: int) -> U8:
    return np.random.default_rng(kind).integers(0, 256, (height, width, 3), dtype=np.uint8) // coarse


@settings(deadline=None, max_examples=60)
@given(
    st.integers(1, 9),
    st.integers(1, 9),
    st.sampled_from([1, 40, 255]),
    st.integers(0, 999),
    st.lists(st.integers(0, 4), min_size=1, max_size=5, unique=True),
)
def test_every_filter_is_undone_by_its_formula(high: int, wide: int, coarse: int, kind: int, some: list[int]) -> None:
    pixels = noise(high, wide, coarse, kind)
    made = row_filters.filtered(pixels, tuple(some))
    assert set(made[:, 0].tolist()) <= set(some)
    assert (unfiltered(made) == pixels).all()


@pytest.mark.parametrize("kind", range(5))
def test_pillow_reads_rows_of_each_filter_across_bands(kind: int) -> None:
    pixels = noise(150, 33, 9, kind)
    made = row_filters.filtered(pixels, (kind,))
    file = io.BytesIO(png_writer.png_of((33, 150), zlib.compress(made)))
    assert (made[:, 0] == kind).all() and (np.asarray(Image.open(file)) == pixels).all()


def test_paeth_takes_the_neighbour_that_the_specification_names() -> None:
    steps = [0, 1, 2, 3, 63, 64, 65, 127, 128, 129, 200, 254, 255]
    for a, b, c in itertools.product(steps, repeat=3):
        two_by_two = np.array([[[c] * 3, [b] * 3], [[a] * 3, [0] * 3]], np.uint8)
        assert -int(row_filters.filtered(two_by_two, (row_filters.PAETH,))[1, 4]) & 255 == paeth_predictor(a, b, c), (
            a,
            b,
            c,
        )


def test_the_filter_with_the_least_sum_of_absolute_differences_is_taken() -> None:
    # PNG specification, third edition, 12.7: differences read as signed bytes, "choose the filter that gives
    # the smallest result".
    pixels = noise(80, 20, 3, 5)
    pixels[20:40] = pixels[20]  # equal rows
    pixels[50:60] = np.arange(0, 40, 2, dtype=np.uint8)[:, None]  # ramps along the row
    alone = [row_filters.filtered(pixels, (kind,)) for kind in range(5)]
    sums = [np.abs(each[:, 1:].view(np.int8).astype(int)).sum(axis=1) for each in alone]
    made = row_filters.filtered(pixels, (0, 1, 2, 3, 4))
    assert (np.choose(made[:, 0], sums) == np.min(sums, axis=0)).all()
    assert len(set(made[:, 0].tolist())) > 2


def test_a_band_continues_from_the_row_above_it() -> None:
    pixels = noise(40, 7, 2, 3)
    whole = row_filters.filtered(pixels, (row_filters.UP, row_filters.AVERAGE, row_filters.PAETH))
    part = row_filters.filtered(pixels[13:], (row_filters.UP, row_filters.AVERAGE, row_filters.PAETH), pixels[12])
    assert (part == whole[13:]).all()


def filtered_by_formula(pixels: U8, kind: int) -> U8:
    """Filt(x) of PNG specification, third edition, 9.2, for a whole picture."""
    padded = np.zeros((pixels.shape[0] + 1, pixels.shape[1] + 1, 3), int)
    padded[1:, 1:] = pixels
    x, a, b, c = padded[1:, 1:], padded[1:, :-1], padded[:-1, 1:], padded[:-1, :-1]
    paeth = np.vectorize(paeth_predictor)(a, b, c) if kind == 4 else 0
    return ((x - (np.zeros_like(x), a, b, (a + b) // 2, paeth)[kind]) & 255).astype(np.uint8).reshape(len(pixels), -1)


@settings(deadline=None, max_examples=100)
@given(
    st.lists(st.sampled_from("aabnz"), min_size=1, max_size=80),
    st.integers(1, 70),
    st.lists(st.integers(0, 4), min_size=1, max_size=5, unique=True),
)
def test_of_equally_good_filters_the_first_is_taken_in_rows_that_repeat_too(
    rows: list[str], wide: int, some: list[int]
) -> None:
    """Rows of a picture that repeat, change by one sample, or are black, across bands of rows."""
    kinds = {
        "a": noise(1, wide, 9, 1),
        "b": noise(1, wide, 9, 1),
        "n": noise(1, wide, 1, 2),
        "z": np.zeros((1, wide, 3), np.uint8),
    }
    kinds["b"][0, -1, -1] += 1
    pixels = np.concatenate([kinds[row] for row in rows])
    alone = [filtered_by_formula(pixels, kind) for kind in some]
    sums = [np.abs(each.view(np.int8).astype(int)).sum(axis=1) for each in alone]
    best = np.argmin(sums, axis=0)
    made = row_filters.filtered(pixels, tuple(some))
    assert (made[:, 0] == np.array(some)[best]).all()
    assert (made[:, 1:] == np.choose(best[:, None], alone)).all()
