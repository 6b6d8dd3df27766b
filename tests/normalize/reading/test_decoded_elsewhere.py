"""A picture that another library decodes: drawn when its pixels are asked for, once, at the size that was chosen."""

from __future__ import annotations

from PIL import Image

from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture, Size


class Drawer:
    """Draws in one colour, and remembers at which sizes."""

    def __init__(self) -> None:
        self.sizes: list[Size] = []

    def __call__(self, size: Size) -> Image.Image:
        self.sizes.append(size)
        return Image.new("RGB", size, (1, 2, 3))


def test_it_is_drawn_once_and_only_when_its_pixels_are_asked_for() -> None:
    drawer = Drawer()
    picture = LibraryPicture("SVG", (30, 40), "RGB", drawer, info={"icc_profile": b"p"})
    assert (picture.format, picture.size, picture.mode, drawer.sizes) == ("SVG", (30, 40), "RGB", [])
    assert picture.getpixel((29, 39)) == (1, 2, 3) and picture.convert("L").size == (30, 40)
    assert drawer.sizes == [(30, 40)] and picture.info == {"icc_profile": b"p"}


def test_only_a_scalable_picture_is_drawn_at_another_size() -> None:
    for scalable, size in ((True, (60, 80)), (False, (30, 40))):
        drawer = Drawer()
        picture = LibraryPicture("SVG", (30, 40), "RGB", drawer, scalable=scalable)
        picture.draft(None, (60, 80))
        picture.load()
        picture.draft(None, (3, 4))  # too late
        assert picture.size == size and drawer.sizes == [size]
