"""The box that differs from its ground, against Pillow's own bounding box."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageChops

from keyturn.package import crop
from keyturn.radio.trim import Box


@given(
    st.tuples(st.integers(3, 40), st.integers(3, 40)),
    st.tuples(*[st.integers(0, 255)] * 3),
    st.lists(st.tuples(st.integers(0, 39), st.integers(0, 39), st.integers(0, 2), st.integers(1, 255)), max_size=5),
)
@settings(deadline=None)
def test_it_is_the_box_that_pillow_finds(
    size: tuple[int, int], ground: tuple[int, int, int], dots: list[tuple[int, int, int, int]]
) -> None:
    """Image.getbbox of the difference from a picture of the ground alone."""
    wide, high = size
    pixels = np.full((high, wide, 3), ground, np.uint8)
    for x, y, channel, more in dots:
        if 0 < x < wide - 1 and 0 < y < high - 1:
            pixels[y, x, channel] = (int(pixels[y, x, channel]) + more) % 256
    seen = ImageChops.difference(Image.fromarray(pixels), Image.new("RGB", size, ground)).getbbox()
    cut = crop.cut(pixels)
    assert cut is not None and cut.ground == ground
    if seen is None:
        assert cut.box == Box(1, 1, 0, 0)
    else:
        left, top, right, bottom = seen
        assert cut.box == Box(right - left, bottom - top, left, top)
    part = crop.cropped(pixels, cut.box)
    again = np.full_like(pixels, cut.ground)
    again[cut.box.y : cut.box.y + cut.box.height, cut.box.x : cut.box.x + cut.box.width] = part
    assert np.array_equal(again, pixels)


def test_a_border_that_is_not_even_is_left_alone() -> None:
    for y, x in [(0, 0), (0, 5), (7, 5), (3, 0), (3, 9), (7, 9)]:
        pixels = np.full((8, 10, 3), 40, np.uint8)
        pixels[y, x, 2] = 41
        assert crop.cut(pixels) is None
