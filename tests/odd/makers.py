"""All odd files, each once."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from types import ModuleType

from odd import bmps, damage, films, jpegs, others, pngs, programs, tiffs
from odd.marker import Odd

BY_HAND = (pngs, jpegs, tiffs, bmps, films, others)
EVERYBODY = (*BY_HAND, programs)


def every(each: int = 40, makers: Sequence[ModuleType] = EVERYBODY) -> Iterator[Odd]:
    """Sound files first, then `each` of every family hurt in four ways. Files of equal bytes come once."""
    sound = [odd for maker in makers for odd in maker.files()]
    known: set[bytes] = set()
    for odd in [*sound, *damage.files(sound, each)]:
        name = odd.name.rpartition(".")[2] if "." in odd.name else ""
        digest = hashlib.sha256(odd.data + name.encode()).digest()
        if digest not in known:
            known.add(digest)
            yield odd
