"""The directory of a zip: open it without trusting its headers, and list the artist's files.

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
from keyturn.shop.name_rules import Names
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.rulebook import Caps

ZIP_ERRORS = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, OverflowError, struct.error)
"""What `zipfile` raises on a damaged zip."""

ZIP_AGAIN = "copy the zip again, or zip the folder anew"

_DIRECTORY_BYTES_A_FILE = 2048
"""Largest central directory, in bytes for each file that a drop may have: `zipfile` reads it into memory whole."""

_LEAST_DIRECTORY_BYTES = 1 << 17
_UTF8_FLAG, _UNICODE_PATH = 1 << 11, 0x7075  # APPNOTE 4.4.4 and 4.6.9


@dataclass(frozen=True, slots=True)
class ZippedFile:
    """A file of the zip: its `/`-separated path in the drop, and its entry."""

    path: str
    info: zipfile.ZipInfo


class GuardedFile(io.BufferedReader):
    """A zip file that refuses to read a huge directory or to seek beyond its own end.

    `fault` keeps a read error of the disk, which `zipfile` would report as a file that is no zip.
    """

    def __init__(self, raw: io.RawIOBase, files: int) -> None:
        super().__init__(raw)
        self.fault: OSError | None = None
        self._longest_read = max(files * _DIRECTORY_BYTES_A_FILE, _LEAST_DIRECTORY_BYTES)
        self._end = self.seek(0, io.SEEK_END)

    def read(self, size: int | None = -1, /) -> bytes:
        if size is not None and size > self._longest_read:
            raise _DirectoryTooLargeError
        try:
            return super().read(size)
        except OSError as error:
            self.fault = error
            raise

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        if whence == io.SEEK_SET and not 0 <= offset <= self._end:
            raise zipfile.BadZipFile("it points to a place outside of itself")
        return super().seek(offset, whence)


class _DirectoryTooLargeError(ValueError):
    """The central directory is larger than a drop's can be."""


def open_zip(file: BinaryIO, name: str, caps: Caps) -> zipfile.ZipFile:
    """Open the zip called `name`. Raise `Refused` where it is damaged or lists far too many entries.

    Up to 4 entries are read for each file that a drop may have: junk files may double the files, folders double
    them again. Raise OSError where the disk cannot be read.
    """
    try:
        archive = zipfile.ZipFile(file)
        if len(archive.infolist()) > 4 * caps.files:
            raise _DirectoryTooLargeError
        return archive
    except _DirectoryTooLargeError:
        raise Refused([too_many_files(name)]) from None
    except ZIP_ERRORS:
        if isinstance(file, GuardedFile) and file.fault is not None:
            raise file.fault from None
        raise Refused([refuse("zip-broken", "is damaged, or is no zip", ZIP_AGAIN, file=name)]) from None


def too_many_files(name: str) -> Reason:
    return refuse("too-many-files", "holds more files than a drop may", "split it into several drops", file=name)


def list_files(infos: Sequence[zipfile.ZipInfo], names: Names) -> tuple[list[ZippedFile], int, list[Reason]]:
    """Return the artist's files, the number of junk files, and a reason for each entry that points outside the zip.

    Backslashes count as slashes. Names are composed (NFC). A single top folder is taken off.
    """
    files: list[ZippedFile] = []
    outside: list[Reason] = []
    junk = 0
    for info in infos:
        name = unicodedata.normalize("NFC", _name(info)).replace("\\", "/")
        path = "/".join(step for step in name.split("/") if step not in ("", "."))
        if _points_outside(name):
            mend = "zip the drop's folder itself"
            outside.append(refuse("zip-outside", "points outside the zip", mend, file=printable(name)))
        elif name.endswith("/") or not path or stat.S_ISDIR(info.external_attr >> 16):
            continue
        elif any(is_junk(step, names) for step in path.split("/")):
            junk += 1
        else:
            files.append(ZippedFile(path, info))
    return _without_top_folder(files), junk, outside


def _points_outside(name: str) -> bool:
    return name.startswith("/") or re.match("[A-Za-z]:", name) is not None or ".." in name.split("/")


def _name(info: zipfile.ZipInfo) -> str:
    """Return the entry's name: marked as UTF-8, else from the Unicode path field, else UTF-8, else code page 437."""
    if info.flag_bits & _UTF8_FLAG:
        return info.orig_filename
    raw = info.orig_filename.encode("cp437")
    try:
        return _unicode_path(info.extra, raw) or raw.decode("utf-8")
    except UnicodeDecodeError:
        return info.orig_filename


def _unicode_path(extra: bytes, raw: bytes) -> str | None:
    """Return the name in the Unicode path field, or None where there is none or it belongs to another name.

    APPNOTE 4.6.9: the field holds version 1, the CRC-32 of the plain name, and the name in UTF-8.
    """
    while len(extra) >= 4:
        kind, length = struct.unpack_from("<HH", extra)
        field, extra = extra[4 : 4 + length], extra[4 + length :]
        if kind == _UNICODE_PATH and length > 5 and field[0] == 1:
            crc: int = struct.unpack_from("<I", field, 1)[0]
            return field[5:].decode("utf-8") if crc == zlib.crc32(raw) else None
    return None


def printable(name: str) -> str:
    """Return `name` with characters that cannot be printed as `\\x` codes."""
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in name)


def _without_top_folder(files: list[ZippedFile]) -> list[ZippedFile]:
    tops = {file.path.partition("/")[0] for file in files}
    if len(tops) != 1 or any("/" not in file.path for file in files):
        return files
    return [ZippedFile(file.path.partition("/")[2], file.info) for file in files]
