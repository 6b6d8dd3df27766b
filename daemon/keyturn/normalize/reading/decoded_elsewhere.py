"""A picture that a library other than Pillow decodes, with the interface of one that Pillow has opened."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from PIL import Image, ImageFile

from keyturn.shop.reasons import Reason

Size = tuple[int, int]


class LibraryPicture(ImageFile.ImageFile):
    """Has its size from the start and is decoded when its pixels are asked for.

    `draw` returns the pixels at the size it is given. That is the picture's own size, unless the picture is
    `scalable` and `draft` chose another. `shown_ms` holds how long each picture of a film is shown, and is empty for
    a still; `bits` are those of one sample.
    """

    def __init__(
        self,
        kind: str,
        size: Size,
        mode: str,
        draw: Callable[[Size], Image.Image],
        *,
        info: Mapping[str | tuple[int, int], Any] | None = None,
        scalable: bool = False,
        bits: int = 8,
        shown_ms: tuple[int, ...] = (),
        findings: tuple[Reason, ...] = (),
    ) -> None:
        Image.Image.__init__(self)  # not ImageFile's own, which reads the file
        self.format = kind
        self._size, self._mode = size, mode
        self.info = dict(info or {})
        self.tile = []
        self.fp = None
        self._draw, self._scalable, self._drawn = draw, scalable, False
        self.bits, self.shown_ms, self.findings = bits, shown_ms, findings

    def _open(self) -> None:
        """Do nothing: the header has been read already."""

    def load(self) -> Any:
        if not self._drawn:
            made = self._draw(self._size)
            made.load()
            self._im, self._mode, self._size, self._drawn = made.im, made.mode, made.size, True
        return Image.Image.load(self)

    def draft(self, mode: str | None, size: Size | None) -> Any:
        """Choose the size that `load` draws at, where the picture is scalable and not drawn yet."""
        if self._scalable and not self._drawn and size:
            self._size = size
        return None
