"""The entries of a zip as the player's own reader finds them."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from . import THIRD

LOCAL, CENTRAL, END = b"PK\3\4", b"PK\1\2", b"PK\5\6"
"""APPNOTE 4.3.7, 4.3.12 and 4.3.16."""

LONGEST_NAME = 255


class NotOpened(Exception):  # noqa: N818 - an outcome, not an error
    """The player refuses the whole file."""


@dataclass(frozen=True)
class Entry:
    name: bytes
    stored: bool
    data: bytes
    """The bytes as they lie in the file: compressed where the entry is not stored."""


def entries(data: bytes, generation: int) -> list[Entry]:
    """Return the entries in the order of the central directory."""
    if data[:4] != LOCAL:
        raise NotOpened("the file does not begin with a local header")
    found = [_entry(data, head, name) for head, name in _central(data)]
    names = [e.name for e in found]
    if generation >= THIRD and len(set(names)) < len(names):
        raise NotOpened("an entry stands twice")
    return [e for e in found if len(e.name) <= LONGEST_NAME]


def entry_named(found: list[Entry], name: bytes) -> Entry | None:
    return next((e for e in found if e.name == name), None)


def _central(data: bytes) -> list[tuple[tuple[int, ...], bytes]]:
    at = data.rfind(END)
    if at < 0 or at + 22 > len(data):
        raise NotOpened("there is no end of central directory record")
    count, _, offset = struct.unpack_from("<HII", data, at + 10)
    found = []
    for _ in range(count):
        if data[offset : offset + 4] != CENTRAL or offset + 46 > len(data):
            raise NotOpened("the central directory is broken")
        head = struct.unpack_from("<4s6H3I5H2I", data, offset)[1:]
        name_length, extra, comment = head[9:12]
        found.append((head, data[offset + 46 : offset + 46 + name_length]))
        offset += 46 + name_length + extra + comment
    return found


def _entry(data: bytes, head: tuple[int, ...], name: bytes) -> Entry:
    method, packed, at = head[3], head[7], head[15]
    if data[at : at + 4] != LOCAL or at + 30 > len(data):
        raise NotOpened("a local header is missing")
    name_length, extra = struct.unpack_from("<2H", data, at + 26)
    start = at + 30 + name_length + extra
    return Entry(name, method == 0, data[start : start + packed])
