"""Keys for pieces of pages that are kept: the same records, as objects, find the piece made from them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Generic, TypeVar

T = TypeVar("T")


class SameObjects(Generic[T]):
    """A key that is equal to another where both have the same objects as parts; `whole` is carried along.

    Records are not compared by value, because that takes as long as writing the page. The key holds its parts, so
    their ids in memory cannot pass to other objects.
    """

    __slots__ = ("_hash", "_parts", "whole")

    def __init__(self, whole: T, parts: Iterable[object]) -> None:
        self.whole, self._parts = whole, tuple(parts)
        self._hash = hash(tuple(map(id, self._parts)))

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, SameObjects) or len(self._parts) != len(other._parts):
            return False
        return all(mine is theirs for mine, theirs in zip(self._parts, other._parts, strict=True))
