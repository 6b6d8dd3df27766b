"""What is see-through is laid on the ground, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from keyturn.flatten.transparency import flatten


def test_every_alpha_and_colour_is_rounded_exactly() -> None:
    colour, alpha = np.meshgrid(np.arange(256), np.arange(256))
    pixels = np.stack([colour, 255 - colour, colour, alpha], -1).astype(np.uint8)
    for ground in [(0, 0, 0), (255, 255, 255), (11, 29, 42), (128, 1, 254)]:
        made = np.asarray(flatten(Image.fromarray(pixels), ground)).astype(int)
        # W3C Compositing and Blending, level 1, 9.1.4, "source over" on an opaque ground; whole numbers.
        twice = 2 * (pixels[..., :3].astype(int) * alpha[..., None] + np.array(ground) * (255 - alpha[..., None]))
        assert (made == (twice + 255) // 510).all()


def test_opaque_art_is_left_as_it_is() -> None:
    image = Image.new("RGB", (4, 4), (1, 2, 3))
    assert flatten(image, (9, 9, 9)) is image


def test_a_backdrop_lies_between_the_art_and_the_ground() -> None:
    art = Image.new("RGBA", (2, 1), (255, 0, 0, 0))
    art.putpixel((0, 0), (255, 0, 0, 255))
    backdrop = Image.new("RGBA", (2, 1), (0, 255, 0, 51))
    made = flatten(art, (0, 0, 255), backdrop)
    assert [made.getpixel((x, 0)) for x in (0, 1)] == [(255, 0, 0), (0, 51, 204)]
    opaque = Image.new("RGB", (2, 1), (7, 8, 9))
    assert flatten(art, (0, 0, 255), opaque).getpixel((1, 0)) == (7, 8, 9)
    assert opaque.getpixel((0, 0)) == (7, 8, 9)  # and is not painted on


def test_a_backdrop_of_another_size_is_our_mistake() -> None:
    with pytest.raises(ValueError, match="backdrop"):
        flatten(Image.new("RGBA", (4, 4)), (0, 0, 0), Image.new("RGB", (4, 5)))
