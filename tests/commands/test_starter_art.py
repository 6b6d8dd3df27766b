"""The art of the starter drops: sizes, transparency and what moves."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from keyturn.commands import starter_art

SIZES = [(48, 64), (160, 96)]


def pixels(picture: Image.Image) -> np.ndarray:
    return np.asarray(picture).astype(int)


@pytest.mark.parametrize("size", SIZES)
def test_opaque_pictures_fill_the_panel_with_few_colours(size: tuple[int, int]) -> None:
    for picture in (starter_art.fern(size, 0.4), starter_art.hills(size), starter_art.hills(size, night=True)):
        assert (picture.mode, picture.size) == ("RGB", size)
        assert len(picture.getcolors(size[0] * size[1]) or []) <= 48


def test_the_fern_ends_as_it_began_and_opens_between() -> None:
    closed, half, opened, end = (pixels(starter_art.fern((96, 128), share)) for share in (0, 0.25, 0.5, 1))
    assert (closed == end).all()
    changed = [int((np.abs(picture - closed).max(axis=-1) > 24).sum()) for picture in (half, opened)]
    assert 0 < changed[0] < changed[1]


def test_night_is_darker_than_day() -> None:
    day, night = (pixels(starter_art.hills((96, 64), night=night)).mean() for night in (False, True))
    assert night < day / 2


def test_the_leaf_has_a_transparent_ground() -> None:
    leaf = starter_art.leaf(64)
    assert (leaf.mode, leaf.size) == ("RGBA", (64, 64))
    alpha = np.asarray(leaf.getchannel("A"))
    assert alpha[[0, 0, -1, -1], [0, -1, 0, -1]].tolist() == [0, 0, 0, 0]
    assert alpha[32, 32] == 255


def test_the_glow_grows_brighter_and_hides_nothing_far_away() -> None:
    light = []
    for share in (0, 0.5, 1):
        glow = starter_art.glow((96, 96), share)
        assert (glow.mode, glow.size) == ("RGBA", (96, 96))
        alpha = np.asarray(glow.getchannel("A"))
        assert alpha[0].max() == 0
        light.append(int(alpha.astype(int).sum()))
    assert light == sorted(light) and light[0] < light[-1]
