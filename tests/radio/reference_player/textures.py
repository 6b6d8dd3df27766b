"""Textures counted as they are made and freed."""

from __future__ import annotations

from collections.abc import Hashable

from . import FIRST, SECOND
from .pictures import Picture

REUSED = "the one texture of all parts that play once"


class Textures:
    """The bytes that are held now, by texture, and the most that were ever held."""

    def __init__(self, generation: int, npot: bool) -> None:
        self.generation, self.npot = generation, npot
        self.held: dict[Hashable, int] = {}
        self.peak = 0

    def upload(self, texture: Hashable, picture: Picture) -> None:
        """Fill a texture; what it held before is freed first."""
        self.held[texture] = self.bytes_of(picture)
        self.peak = max(self.peak, sum(self.held.values()))

    def delete(self, texture: Hashable) -> None:
        self.held.pop(texture, None)

    def bytes_of(self, picture: Picture) -> int:
        width, height = picture.width, picture.height
        if self.generation <= SECOND or not self.npot:
            width, height = power_of_two(width), power_of_two(height)
        return width * height * (2 if self.generation == FIRST and picture.opaque else 4)


def power_of_two(side: int) -> int:
    rounded = 1
    while rounded < side:
        rounded *= 2
    return rounded
