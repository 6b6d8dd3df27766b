"""The directory of a zip: open it without trusting its headers, and read the names of the artist's files.

Format: ZIP application note (PKWARE APPNOTE).
"""

from __future__ import annotations

import io
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO

from keyturn.shop.file_names import is_junk
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.rulebook import Caps, Intake

_CHUNK = 1 << 16

_DIRECTORY_BYTES_A_FILE = 2048
"""A central directory is read whole, so it may hold this much for each file that a drop may have."""

BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, OverflowError, struct.error)
COPY_AGAIN = "copy the zip again, or zip the folder anew"
_UTF8, _UNICODE_PATH = 1 << 11, 0x7075


@dataclass(frozen=True, slots=True)
class ZippedFile:
    """A file of the zip: where it is to lie below the drop, `/`-separated, and its entry."""

    path: str
    info: zipfile.ZipInfo


class GuardedFile(io.BufferedReader):
    """A file that a directory of millions of entries is never read from, nor a place outside of it sought."""

    def __init__(self, raw: io.RawIOBase, files: int) -> None:
        super().__init__(raw)
        self.fault: OSError | None = None
        self._most = max(files * _DIRECTORY_BYTES_A_FILE, 2 * _CHUNK)
        self._end = self.seek(0, io.SEEK_END)

    def read(self, size: int | None = -1, /) -> bytes:
        if size is not None and size > self._most:
            raise _DirectoryTooLargeError
        try:
            return super().read(size)
        except OSError as error:  # zipfile takes it for a file that is no zip: the disk's fault, not the artist's
            self.fault = error
            raise

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        if whence == io.SEEK_SET and not 0 <= offset <= self._end:
            raise zipfile.BadZipFile("it points to a place outside of itself")
        return super().seek(offset, whence)


class _DirectoryTooLargeError(ValueError):
    """The central directory is larger than that of any drop."""


def opened(file: BinaryIO, name: str, caps: Caps) -> zipfile.ZipFile:
    """Litter may double the files of a drop, and folders again; beyond that nothing is told one by one."""
    try:
        archive = zipfile.ZipFile(file)
        if len(archive.infolist()) > 4 * caps.files:
            raise _DirectoryTooLargeError
        return archive
    except _DirectoryTooLargeError:
        raise Refused([too_many(name)]) from None
    except BROKEN as error:
        if isinstance(file, GuardedFile) and file.fault is not None:
            raise file.fault from None
        raise Refused([refuse("zip-broken", f"cannot be read as a zip ({error})", COPY_AGAIN, file=name)]) from None


def too_many(name: str) -> Reason:
    return refuse("too-many-files", "holds more files than a drop may", "split it into several drops", file=name)


def sorted_out(infos: Sequence[zipfile.ZipInfo], intake: Intake, faults: list[Reason]) -> tuple[list[ZippedFile], int]:
    """The artist's files and the number of junk files; entries that reach outside are `faults`."""
    items: list[ZippedFile] = []
    junk = 0
    for info in infos:
        name = unicodedata.normalize("NFC", _name(info)).replace("\\", "/")
        path = "/".join(step for step in name.split("/") if step not in ("", "."))
        if name.startswith("/") or re.match("[A-Za-z]:", name) or ".." in path.split("/"):
            mend = "zip the drop's folder itself"
            faults.append(refuse("zip-outside", "points outside the zip", mend, file=shown(name)))
        elif name.endswith("/") or not path or stat.S_ISDIR(info.external_attr >> 16):
            continue
        elif any(is_junk(step, intake.names) for step in path.split("/")):
            junk += 1
        else:
            items.append(ZippedFile(path, info))
    return items, junk


def _name(info: zipfile.ZipInfo) -> str:
    """The entry's name: marked UTF-8, the Unicode path field, unmarked UTF-8, or else code page 437."""
    if info.flag_bits & _UTF8:
        return info.orig_filename
    raw = info.orig_filename.encode("cp437")
    try:
        return _unicode_path(info.extra, raw) or raw.decode("utf-8")
    except UnicodeDecodeError:
        return info.orig_filename


def _unicode_path(extra: bytes, raw: bytes) -> str | None:
    """APPNOTE 4.6.9: version 1, CRC-32 of the plain name, the name in UTF-8; void where the CRC is another's."""
    while len(extra) >= 4:
        kind, length = struct.unpack_from("<HH", extra)
        field, extra = extra[4 : 4 + length], extra[4 + length :]
        if kind == _UNICODE_PATH and length > 5 and field[0] == 1:
            crc: int = struct.unpack_from("<I", field, 1)[0]
            return field[5:].decode("utf-8") if crc == zlib.crc32(raw) else None
    return None


def shown(name: str) -> str:
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in name)


def without_top_folder(items: list[ZippedFile]) -> list[ZippedFile]:
    tops = {item.path.partition("/")[0] for item in items}
    if len(tops) != 1 or any("/" not in item.path for item in items):
        return items
    return [ZippedFile(item.path.partition("/")[2], item.info) for item in items]
