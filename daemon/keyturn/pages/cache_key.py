"""Keys under which a made piece of a page is kept, while the very records that it was made from are given again."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Generic, TypeVar

T = TypeVar("T")


class Same(Generic[T]):
    """`whole` told apart by which objects its `parts` are: to compare records by value takes as long as to write them.

    A key holds its parts, so no other object can come to have their place in memory.
    """

    __slots__ = ("_hash", "_parts", "whole")

    def __init__(self, whole: T, parts: Iterable[object]) -> None:
        self.whole, self._parts = whole, tuple(parts)
        self._hash = hash(tuple(map(id, self._parts)))

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Same) or len(self._parts) != len(other._parts):
            return False
        return all(mine is theirs for mine, theirs in zip(self._parts, other._parts, strict=True))
