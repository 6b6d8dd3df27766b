"""`bootanimation.zip` as the radio reads it: every entry stored, the same bytes for the same frames."""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

from keyturn.png import deflate
from keyturn.shop.reasons import Refused, refuse

MOST_BYTES = 2**32 - 1
MOST_ENTRIES = 2**16 - 1
"""The most that the plain format can count. A radio's small reader need not know zip64, which goes beyond."""

_STEP = r"[A-Za-z0-9_-][A-Za-z0-9._-]*"
_NAME = re.compile(rf"{_STEP}(/{_STEP})*")
_UNIX, _VERSION, _STORED = 3, 10, 0
_DATE = (1980 - 1980) << 9 | 1 << 5 | 1
_PLAIN_FILE = 0o100644 << 16


@dataclass(frozen=True, slots=True)
class _Entry:
    name: bytes
    crc: int
    size: int
    offset: int

    def _common(self) -> bytes:
        """Return version to extract, flags, method, time, date, CRC-32, sizes, name length, and no extra field."""
        return struct.pack(
            "<HHHHHIIIHH", _VERSION, 0, _STORED, 0, _DATE, self.crc, self.size, self.size, len(self.name), 0
        )

    def local(self) -> bytes:
        return b"PK\x03\x04" + self._common() + self.name

    def central(self) -> bytes:
        made_by = struct.pack("<H", _UNIX << 8 | _VERSION)
        tail = struct.pack("<HHHII", 0, 0, 0, _PLAIN_FILE, self.offset)
        return b"PK\x01\x02" + made_by + self._common() + tail + self.name


class ZipWriter:
    """Writes a boot animation's zip as the frames come: entries stored, the same bytes for the same input.

    Layout: ZIP application note (PKWARE APPNOTE), local headers with sizes, no data descriptors, no extra
    fields, date 1980-01-01. There are no folder entries: the player looks frames up by their path
    ("part0/0001.png"), and a folder entry would be one more file to it (AOSP, cmds/bootanimation).

    A folder's entries come together and in byte order. Folders come in the order they are added, which is
    the playing order: in byte order part10 would stand before part2, and desc.txt says the order anyway.

    An exception inside the `with` block removes the file. `add` raises ValueError for names that only a mistake of
    ours could make, and `Refused` where the animation outgrows the format.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._entries: list[_Entry] = []
        self._closed_folders: set[str] = set()
        self._file: BinaryIO = path.open("wb")

    def __enter__(self) -> ZipWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            with self._file:
                if kind is None:
                    self._finish()
        except BaseException:
            self._path.unlink(missing_ok=True)
            raise
        if kind is not None:
            self._path.unlink(missing_ok=True)

    def add(self, name: str, data: bytes) -> None:
        self._expect(name)
        offset = self._file.tell()
        entry = _Entry(name.encode("ascii"), deflate.crc32(data), len(data), offset)
        if offset + len(entry.local()) + len(data) > MOST_BYTES or len(self._entries) >= MOST_ENTRIES:
            raise _too_large(len(self._entries))
        self._file.write(entry.local())
        self._file.write(data)
        self._entries.append(entry)

    def _expect(self, name: str) -> None:
        if not _NAME.fullmatch(name) or len(name) > 255:
            raise ValueError(f"{name!r} is no plain relative ASCII path without spaces")
        folder, last = name.rpartition("/")[0], self._last()
        before = last.rpartition("/")[0]
        if last and folder == before and name <= last:
            raise ValueError(f"{name!r} comes after {last!r}: doubled or out of order")
        if last and folder != before:
            self._closed_folders.add(before)
        if folder in self._closed_folders:
            raise ValueError(f"{name!r} returns to a folder already written")

    def _last(self) -> str:
        return self._entries[-1].name.decode("ascii") if self._entries else ""

    def _finish(self) -> None:
        start = self._file.tell()
        directory = b"".join(entry.central() for entry in self._entries)
        if start + len(directory) > MOST_BYTES:
            raise _too_large(len(self._entries))
        count = len(self._entries)
        end = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, count, count, len(directory), start, 0)
        self._file.write(directory + end)
        self._file.flush()
        os.fsync(self._file.fileno())


def zip_bytes(entries: Iterable[tuple[str, int]]) -> int:
    """Return the bytes of a zip with entries of these names and sizes (APPNOTE 4.3.7, 4.3.12 and 4.3.16)."""
    return 22 + sum(30 + 46 + 2 * len(name) + size for name, size in entries)


def _too_large(entries: int) -> Refused:
    what = f"the animation outgrows a plain zip file (4 GiB, 65,535 files) after {entries:,} frames"
    return Refused([refuse("zip-too-large", what, "leave out frames, or draw simpler ones")])
