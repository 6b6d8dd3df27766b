"""How a radio's firmware wants a BMP, and how many bytes its parts take.

Source: Microsoft's definitions of BITMAPFILEHEADER, BITMAPINFOHEADER and BITMAPV4HEADER (Windows GDI reference).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

BmpBits = Literal[16, 24]
BmpHeader = Literal["info", "v4"]

FILE_HEADER_BYTES = 14
HEADER_BYTES: dict[BmpHeader, int] = {"info": 40, "v4": 108}
MASKS_BYTES = 12
"""After a BITMAPINFOHEADER whose compression is BI_BITFIELDS come the masks of red, green and blue."""


@dataclass(frozen=True, slots=True)
class BmpLayout:
    """One way to write a BMP: 24 bits a pixel, or 16 as RGB565.

    Zeros after the last row fill the file up to `exact_bytes`, where it is shorter.
    """

    bits: BmpBits
    top_down: bool
    header: BmpHeader
    exact_bytes: int = 0

    @property
    def pixels_at(self) -> int:
        """Bytes before the first pixel."""
        masks = MASKS_BYTES if self.bits == 16 and self.header == "info" else 0
        return FILE_HEADER_BYTES + HEADER_BYTES[self.header] + masks

    def row_bytes(self, width: int) -> int:
        """Return the bytes of one row: each begins at a multiple of four."""
        return (width * self.bits + 31) // 32 * 4

    def least_bytes(self, size: tuple[int, int]) -> int:
        """Return the bytes of the file of a picture of `size` in pixels, before anything is filled up."""
        width, height = size
        return self.pixels_at + self.row_bytes(width) * height

    def file_bytes(self, size: tuple[int, int]) -> int:
        """Return the bytes of the whole file of a picture of `size` in pixels."""
        return max(self.least_bytes(size), self.exact_bytes)
