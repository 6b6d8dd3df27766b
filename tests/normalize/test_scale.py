"""Lanczos by either library, against the kernel's definition in numpy."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from keyturn.normalize import scale

Reference = Callable[..., np.ndarray]


def mild(size: tuple[int, int]) -> Image.Image:
    """No overshoot of it reaches black or white, where the two passes would cut it off."""
    few = np.random.default_rng(7).integers(64, 192, (9, 9, 3), dtype=np.uint8)
    return Image.fromarray(few).resize(size, Image.Resampling.BICUBIC)


@pytest.mark.parametrize("source", [(97, 61), (40, 200), (21, 17), (300, 250)])
@pytest.mark.parametrize("share", [(0, 0, 1, 1), (0.13, 0.2, 0.81, 0.77)])
def test_it_is_lanczos(libraries: str, lanczos: Reference, source: tuple[int, int], share: tuple[float, ...]) -> None:
    art = mild(source)
    crop = tuple(part * side for part, side in zip(share, source * 2, strict=True))
    made = np.asarray(scale.lanczos(art, (60, 48), crop)).astype(float)
    wanted = lanczos(np.asarray(art).astype(float), crop, (60, 48))
    # Tolerance: both libraries round to 8 bits between the two passes.
    assert np.abs(made - wanted).max() <= 2 and np.abs(made - wanted).mean() < 0.5


def test_hard_edges_come_out_as_near_to_the_kernel_as_pillow_has_them(libraries: str, lanczos: Reference) -> None:
    """What rings beyond black and white is cut off between the passes, by each library after its own first one."""
    pixels = np.where(np.random.default_rng(2).integers(0, 2, (30, 40, 1)), 255, 0).astype(np.uint8).repeat(3, axis=2)
    art = Image.fromarray(pixels.repeat(8, axis=0).repeat(8, axis=1))
    size, crop = (211, 151), (3.5, 2.0, 318.25, 239.0)
    wanted = np.clip(lanczos(np.asarray(art).astype(float), crop, size), 0, 255)
    by_pillow = np.asarray(art.resize(size, Image.Resampling.LANCZOS, crop)).astype(float) - wanted
    made = np.asarray(scale.lanczos(art, size, crop)).astype(float) - wanted
    assert np.abs(made).mean() <= 1.1 * np.abs(by_pillow).mean()
    assert np.abs(made).max() <= 1.2 * np.abs(by_pillow).max()


sides = st.integers(1, 90)


@settings(deadline=None, max_examples=100)
@given(st.tuples(sides, sides), st.tuples(sides, sides), st.tuples(*[st.floats(0, 1)] * 4))
def test_what_is_not_needed_has_no_say(
    source: tuple[int, int], size: tuple[int, int], shares: tuple[float, float, float, float]
) -> None:
    starts = [shares[i] * (source[i] - 1) for i in (0, 1)]
    ends = [starts[i] + 1 + shares[i + 2] * (source[i] - 1 - starts[i]) for i in (0, 1)]
    crop = (starts[0], starts[1], ends[0], ends[1])
    box = scale.needed(source, size, crop)
    assert 0 <= box[0] <= crop[0] and 0 <= box[1] <= crop[1]
    assert crop[2] <= box[2] + 1e-9 <= source[0] + 1e-9 and crop[3] <= box[3] + 1e-9 <= source[1] + 1e-9
    pixels = np.random.default_rng(4).integers(0, 256, (source[1], source[0], 3), dtype=np.uint8)
    spoilt = 255 - pixels
    spoilt[box[1] : box[3], box[0] : box[2]] = pixels[box[1] : box[3], box[0] : box[2]]
    one, other = (Image.fromarray(p).resize(size, Image.Resampling.LANCZOS, crop) for p in (pixels, spoilt))
    assert (np.asarray(one) == np.asarray(other)).all()


def test_only_opaque_colour_is_resized_here(libraries: str) -> None:
    with pytest.raises(ValueError, match="RGBA"):
        scale.lanczos(Image.new("RGBA", (4, 4)), (2, 2), (0, 0, 4, 4))
