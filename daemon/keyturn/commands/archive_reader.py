"""List the entries of any boot animation archive, within limits.

Of pictures only the headers are read; none is decoded. Source of the layout: ZIP application note (PKWARE
APPNOTE.TXT), 4.3.16 end of central directory record.
"""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from keyturn.normalize.reading.headers import header, is_picture
from keyturn.radio import trim
from keyturn.radio.archive import DESC, Entry
from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Caps

_USUAL_HEAD = 4096
_LONG_HEAD = 2**18
"""Bytes of an entry that are read for its header. The long head is for a picture that has a colour profile or a
camera's notes before what is looked for."""

_END = struct.Struct("<4s4H2LH")
_MOST_COMMENT = 2**16 - 1
_DIRECTORY_BYTES = 512
"""Most bytes of the central directory for one file: the fixed 46, a long name and extra fields."""

_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    RuntimeError,
    NotImplementedError,
    OverflowError,
    ValueError,
)


@dataclass(frozen=True, slots=True)
class Bundle:
    """The entries of an archive, in its order.

    `desc` holds the bytes of the desc.txt at the root, None where there is none. `trims` holds the text of each
    trim.txt that a player reads, by its name in the archive. `bytes_before`: it does not begin with a local header.
    """

    entries: tuple[Entry, ...]
    desc: bytes | None
    trims: Mapping[str, bytes]
    bytes_before: bool = False


def read_bundle(path: Path, caps: Caps) -> Bundle:
    """Return what the archive at `path` holds. Raise `Refused` where it is no zip, is damaged or is beyond `caps`."""
    _within(path, caps)
    try:
        with zipfile.ZipFile(path) as archive:
            infos = archive.infolist()
            if len(infos) > caps.files:
                raise _too_many(path, caps)
            entries = tuple(_entry(archive, info) for info in infos)
            late = not _begins_with_a_header(path)
            return Bundle(entries, _desc(archive, infos, caps), _trims(archive, infos, caps), late)
    except _DAMAGED as error:
        raise _no_zip(path, "is damaged and cannot be read as a zip") from error


def _begins_with_a_header(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(4) == b"PK\x03\x04"


def _within(path: Path, caps: Caps) -> None:
    """Check the sizes before `zipfile` reads the directory, since it reads as many bytes as the archive claims."""
    size = path.stat().st_size
    if size > caps.drop_mib * 2**20:
        what = f"is {size / 2**20:,.0f} MiB"
        raise Refused([refuse("file-too-large", what, f"make it at most {caps.drop_mib:g} MiB", file=path.name)])
    with path.open("rb") as file:
        file.seek(max(0, size - _END.size - _MOST_COMMENT))
        tail = file.read()
    at = tail.rfind(b"PK\x05\x06")
    if at < 0 or at + _END.size > len(tail):
        raise _no_zip(path, "is no zip, or only part of one")
    *_, count, directory, _, _ = _END.unpack_from(tail, at)
    if tail[max(0, at - 20) : at].startswith(b"PK\x06\x07"):
        raise _no_zip(path, "is a zip64 archive, which is for more than 65,535 files or 4 GiB")
    if count > caps.files or directory > caps.files * _DIRECTORY_BYTES:
        raise _too_many(path, caps)
    if directory > size - _END.size:
        raise _no_zip(path, "is only part of a zip")


def _no_zip(path: Path, what: str) -> Refused:
    return Refused(
        [refuse("not-a-zip", what, "zip it again without compression, and copy the whole file", file=path.name)]
    )


def _too_many(path: Path, caps: Caps) -> Refused:
    what = f"holds more than {caps.files} files"
    return Refused([refuse("too-many-files", what, "remove the files that no row of desc.txt shows", file=path.name)])


def _entry(archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> Entry:
    compressed = info.compress_type != zipfile.ZIP_STORED
    head = _head(archive, info, _USUAL_HEAD)
    found = header(head)
    if is_picture(head) and (found is None or not found.complete):
        found = header(_head(archive, info, _LONG_HEAD))
    if found is None:
        return Entry(info.filename, compressed)
    return Entry(
        info.filename,
        compressed,
        found.width,
        found.height,
        interlaced=found.interlaced,
        alpha=found.alpha,
        bits=found.bits,
        kind=found.kind,
        palette=found.palette,
    )


def _head(archive: zipfile.ZipFile, info: zipfile.ZipInfo, length: int) -> bytes:
    """Return the entry's first `length` bytes; none where it is a folder, damaged, encrypted or packed otherwise."""
    if info.filename.endswith("/") or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return b""
    if info.header_offset < 0:  # a damaged directory; its OSError would be taken for the disk's
        return b""
    try:
        with archive.open(info) as entry:
            return entry.read(length)
    except _DAMAGED:
        return b""


def _desc(archive: zipfile.ZipFile, infos: list[zipfile.ZipInfo], caps: Caps) -> bytes | None:
    """Return the text of desc.txt. Raise `Refused` where it is longer than a manifest may be."""
    info = next((info for info in infos if info.filename == DESC), None)
    if info is None:
        return None
    most = int(caps.manifest_kib * 1024)
    text = _head(archive, info, most + 1)
    if len(text) > most:
        what = f"is longer than {caps.manifest_kib:g} KiB"
        raise Refused([refuse("desc-too-long", what, "write one short line a part", file=DESC)])
    return text


def _trims(archive: zipfile.ZipFile, infos: list[zipfile.ZipInfo], caps: Caps) -> dict[str, bytes]:
    """Return each trim.txt, cut at the length that a manifest may have. Players skip compressed ones too."""
    stored = (info for info in infos if info.compress_type == zipfile.ZIP_STORED)
    named = (info for info in stored if info.filename.rpartition("/")[2] == trim.NAME)
    return {info.filename: _head(archive, info, int(caps.manifest_kib * 1024)) for info in named}
