"""An artist's zip of a drop, unpacked so that nothing in it can reach outside or fill the disk.

Format: ZIP application note (PKWARE APPNOTE). The headers are the sender's word: names, links and
locks are judged before anything is written, sizes by the bytes that really come out.
"""

from __future__ import annotations

import io
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from keyturn.shop import rulebook
from keyturn.shop.file_names import case_twins, fat_faults, is_junk
from keyturn.shop.reasons import Reason, Refused, mended, refuse, stop_if_refused
from keyturn.shop.rulebook import Caps, Fat, Intake

_CHUNK, _MIB = 1 << 16, 1 << 20
_RATIO_FROM = _MIB  # below this size any ratio is harmless

_DIRECTORY_BYTES_A_FILE = 2048
"""A central directory is read whole, so it may hold this much for each file that a drop may have."""

_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, OverflowError, struct.error)
_METHODS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
"""Other methods are rare, and their decoders cannot be asked for a little at a time."""

_METHOD_NAMES = {6: "Implode", 9: "Deflate64", 12: "bzip2", 14: "LZMA", 93: "Zstandard", 95: "XZ", 98: "PPMd"}
_LOCKED = 1 << 0 | 1 << 6 | 1 << 13
_UTF8, _UNICODE_PATH = 1 << 11, 0x7075
_AGAIN = "copy the zip again, or zip the folder anew"


@dataclass(frozen=True, slots=True)
class _Item:
    """A file of the zip: where it is to lie below the drop, `/`-separated, and its entry."""

    path: str
    info: zipfile.ZipInfo


def unpack(zip_path: Path, into: Path, intake: Intake, *, name: str, fat: Fat | None = None) -> tuple[Reason, ...]:
    """Unpacks the zip called `name` into the empty folder `into`; returns what was mended.

    Backslashes count as slashes, a single top folder is taken off, litter is skipped, a zip within is
    left as a file; modes and times of the zip are ignored. `fat` defaults to the rules that ship.
    Raises `Refused`; part of the files may then lie in `into`. OSError is the disk's.
    """
    caps = intake.caps
    with zip_path.open("rb", buffering=0) as raw, _Guarded(raw, caps.files) as file:
        archive = _opened(file, name, caps)
        faults: list[Reason] = []
        items, junk = _sorted_out(archive.infolist(), intake, faults)
        items = _without_top_folder(items)
        faults += _faults(items, name, caps, fat or rulebook.load().usb.fat)
        stop_if_refused(faults)
        stop_if_refused(_unpacked(archive, items, into, caps, zip_path.stat().st_size, name))
    if junk:
        return (mended("junk-skipped", f"{junk} files that desktop systems leave behind were skipped"),)
    return ()


# -- opening ----------------------------------------------------------------------------------------


class _Guarded(io.BufferedReader):
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


def _opened(file: BinaryIO, name: str, caps: Caps) -> zipfile.ZipFile:
    """Litter may double the files of a drop, and folders again; beyond that nothing is told one by one."""
    try:
        archive = zipfile.ZipFile(file)
        if len(archive.infolist()) > 4 * caps.files:
            raise _DirectoryTooLargeError
        return archive
    except _DirectoryTooLargeError:
        raise Refused([_too_many(name)]) from None
    except _BROKEN as error:
        if isinstance(file, _Guarded) and file.fault is not None:
            raise file.fault from None
        raise Refused([refuse("zip-broken", f"cannot be read as a zip ({error})", _AGAIN, file=name)]) from None


def _too_many(name: str) -> Reason:
    return refuse("too-many-files", "holds more files than a drop may", "split it into several drops", file=name)


# -- names ------------------------------------------------------------------------------------------


def _sorted_out(infos: Sequence[zipfile.ZipInfo], intake: Intake, faults: list[Reason]) -> tuple[list[_Item], int]:
    """The artist's files and the number of junk files; entries that reach outside are `faults`."""
    items: list[_Item] = []
    junk = 0
    for info in infos:
        name = unicodedata.normalize("NFC", _name(info)).replace("\\", "/")
        path = "/".join(step for step in name.split("/") if step not in ("", "."))
        if name.startswith("/") or re.match("[A-Za-z]:", name) or ".." in path.split("/"):
            mend = "zip the drop's folder itself"
            faults.append(refuse("zip-outside", "points outside the zip", mend, file=_shown(name)))
        elif name.endswith("/") or not path or stat.S_ISDIR(info.external_attr >> 16):
            continue
        elif any(is_junk(step, intake.names) for step in path.split("/")):
            junk += 1
        else:
            items.append(_Item(path, info))
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


def _shown(name: str) -> str:
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in name)


def _without_top_folder(items: list[_Item]) -> list[_Item]:
    tops = {item.path.partition("/")[0] for item in items}
    if len(tops) != 1 or any("/" not in item.path for item in items):
        return items
    return [_Item(item.path.partition("/")[2], item.info) for item in items]


# -- what is wrong, before anything is written ------------------------------------------------------


def _faults(items: list[_Item], name: str, caps: Caps, fat: Fat) -> list[Reason]:
    found = _counted(items, name, caps) + _locked(items, name)
    for item in items:
        found += _item_faults(item, caps, fat)
    return found + _collisions([item.path for item in items])


def _counted(items: list[_Item], name: str, caps: Caps) -> list[Reason]:
    if not items:
        return [refuse("zip-empty", "holds no files", "zip the drop's folder", file=name)]
    return [_too_many(name)] if len(items) > caps.files else []


def _locked(items: list[_Item], name: str) -> list[Reason]:
    locked = sum(bool(item.info.flag_bits & _LOCKED) for item in items)
    if not locked:
        return []
    what = f"is locked with a password ({locked} of {len(items)} files)"
    return [refuse("zip-locked", what, "zip it again without one", file=name)]


def _item_faults(item: _Item, caps: Caps, fat: Fat) -> list[Reason]:
    shown = _shown(item.path)
    found = [
        refuse("name-not-holdable", fault, "rename it in plain letters", file=shown)
        for fault in (*fat_faults(item.path, fat), *_linux_faults(item.path))
    ]
    if (mode := stat.S_IFMT(item.info.external_attr >> 16)) not in (0, stat.S_IFREG):
        kind = "a link" if mode == stat.S_IFLNK else "not an ordinary file"
        found.append(refuse("not-a-file", f"is {kind}", "put the file itself here", file=shown))
    if item.path.count("/") > caps.folder_depth:
        mend = f"use at most {caps.folder_depth} levels"
        found.append(refuse("too-deep", "lies too deep in folders", mend, file=shown))
    method = item.info.compress_type
    if method not in _METHODS:
        what = f"is packed in an unusual way ({_METHOD_NAMES.get(method, f'method {method}')})"
        found.append(refuse("zip-method", what, "zip it the ordinary way (store or deflate)", file=shown))
    return found


def _linux_faults(path: str) -> list[str]:
    """Linux holds 255 bytes a name (limits.h NAME_MAX), which is less than FAT's where letters need several."""
    longest = max(len(step.encode("utf-8", "surrogatepass")) for step in path.split("/"))
    return [f"has a name of {longest} bytes; 255 is the longest"] if longest > 255 else []


def _collisions(paths: Sequence[str]) -> list[Reason]:
    mend = "zip the drop anew"
    folders = {path[:at] for path in paths for at in range(len(path)) if path[at] == "/"}
    found = [
        refuse("zip-doubled", f"is in the zip {count} times", mend, file=_shown(path))
        for path, count in Counter(paths).items()
        if count > 1
    ]
    both = sorted(folders & set(paths))
    found += [refuse("zip-doubled", "is both a file and a folder", mend, file=_shown(path)) for path in both]
    for first, *others in case_twins(paths):
        what = f"differs from {', '.join(others)} only in capital letters"
        found.append(refuse("names-equal-but-case", what, "rename one of them", file=first))
    return found


# -- unpacking --------------------------------------------------------------------------------------


def _unpacked(
    archive: zipfile.ZipFile, items: list[_Item], into: Path, caps: Caps, zip_bytes: int, name: str
) -> list[Reason]:
    """Writes the files; what is wrong with their contents. Stops where the drop as a whole is too large."""
    faults: list[Reason] = []
    left = int(caps.drop_mib * _MIB)
    for item in items:
        most = min(item.info.compress_size, zip_bytes) * caps.zip_ratio
        allowed = _Allowed(int(caps.file_mib * _MIB), max(int(most), _RATIO_FROM), left)
        try:
            left -= _write(archive, item, into / item.path, allowed)
        except _Over as over:
            faults.append(over.reason(item, caps, name))
            if over.drop:
                break
            left -= over.written
        except _BROKEN as error:
            faults.append(refuse("zip-broken", f"cannot be unpacked ({error})", _AGAIN, file=_shown(item.path)))
    return faults


@dataclass(frozen=True, slots=True)
class _Allowed:
    """Bytes that one file may come to: by itself, by what it is packed in, by what the drop has left."""

    file: int
    packed: int
    drop: int


class _Over(Exception):  # noqa: N818 - an outcome, told as a reason
    def __init__(self, written: int, allowed: _Allowed) -> None:
        self.written, self._allowed = written, allowed
        super().__init__()

    @property
    def drop(self) -> bool:
        return self.written > self._allowed.drop

    def reason(self, item: _Item, caps: Caps, name: str) -> Reason:
        if self.drop:
            what = f"unpacks to more than {caps.drop_mib:g} MiB"
            return refuse("drop-too-large", what, "split it into several drops", file=name)
        if self.written > self._allowed.packed:
            what = f"unpacks to more than {caps.zip_ratio:g} times its size in the zip"
            return refuse("zip-bomb", what, "send it unzipped, in a folder", file=_shown(item.path))
        what = f"unpacks to more than {caps.file_mib:g} MiB"
        return refuse("file-too-large", what, "make it smaller", file=_shown(item.path))


def _write(archive: zipfile.ZipFile, item: _Item, target: Path, allowed: _Allowed) -> int:
    """Writes one file and returns its bytes. Raises `_Over`, or one of `_BROKEN`."""
    most = min(allowed.file, allowed.packed, allowed.drop)
    written = 0
    with archive.open(item.info) as reading:
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as writing:
            while chunk := reading.read(_CHUNK):
                written += len(chunk)
                if written > most:
                    raise _Over(written, allowed)
                writing.write(chunk)
    return written
