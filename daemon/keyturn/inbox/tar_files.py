"""Tar archives, plain or packed with gzip, read with the guards of a zip: their members look like a zip's entries.

Names are judged by the standard library's "data" filter (PEP 706) and then by the rules for zips. Members that are no
plain files are refused there. Source: pax(1), "ustar interchange format".
"""

from __future__ import annotations

import gzip
import io
import stat
import tarfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Literal, cast

from keyturn.inbox.zip_directory import too_many_files
from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Caps

TAR_ERRORS = (tarfile.TarError, zlib.error, gzip.BadGzipFile, EOFError, ValueError, OverflowError)
"""What `tarfile` raises on a damaged archive."""

TAR_ENDINGS = (".tar", ".tgz", ".tar.gz", ".taz")
ARCHIVE_ENDINGS = (".zip", *TAR_ENDINGS)
_GZIP, _ZIP = b"\x1f\x8b", (b"PK\3\4", b"PK\5\6")
_UTF8_FLAG = 1 << 11
_MOST_AT_ONCE = 1 << 20
"""Bytes of one read: names and extended headers are much shorter, files are read in small pieces."""

_ANY_FOLDER = "/drop"
"""The filter asks for a folder to unpack into. Nothing is unpacked there: only its refusals are used."""

_data_filter = getattr(tarfile, "data_filter", None)
"""From Python 3.11.4 on. The rules for zips refuse the same names and kinds; this is a second check."""

_TYPES = {
    tarfile.SYMTYPE: stat.S_IFLNK,
    tarfile.LNKTYPE: stat.S_IFLNK,
    tarfile.CHRTYPE: stat.S_IFCHR,
    tarfile.BLKTYPE: stat.S_IFBLK,
    tarfile.FIFOTYPE: stat.S_IFIFO,
    tarfile.DIRTYPE: stat.S_IFDIR,
    tarfile.GNUTYPE_SPARSE: stat.S_IFSOCK,
}


def form_of(path: Path) -> Literal["zip", "tar", ""]:
    """Return which archive the file is, by its first bytes; empty for any other file."""
    with path.open("rb") as file:
        start = file.read(512)
        if start.startswith(_ZIP):
            return "zip"
        if start.startswith(_GZIP):
            file.seek(0)
            try:
                start = gzip.GzipFile(fileobj=file).read(512)
            except TAR_ERRORS:
                return ""
    try:
        tarfile.TarInfo.frombuf(start, "utf-8", "surrogateescape")
    except tarfile.TarError:
        return ""
    return "tar"


def is_tar(path: Path) -> bool:
    """Tell whether the file is to be unpacked as a tar: by its first bytes, else by its name."""
    return (form_of(path) or ("tar" if path.name.lower().endswith(TAR_ENDINGS) else "")) == "tar"


class _Bounded:
    """The bytes of the archive, of which no more than `most` are passed on from one start to the end."""

    def __init__(self, file: IO[bytes], most: int) -> None:
        self._file, self._most, self.last = file, most, b""

    def read(self, size: int = -1, /) -> bytes:
        if not 0 <= size <= _MOST_AT_ONCE:
            raise tarfile.ReadError("it has a name or a note that is longer than any")
        if self._file.tell() > self._most:
            raise _SwollenError
        self.last = self._file.read(size)
        return self.last

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        if whence == io.SEEK_SET and offset > self._most:
            raise _SwollenError
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()


class _SwollenError(Exception):
    """The archive unpacks to more bytes than a drop may hold, or than its size lets expect."""


class TarFiles:
    """The members of a tar archive, as entries of a zip."""

    def __init__(self, file: _Bounded, caps: Caps, name: str, packed_bytes: int) -> None:
        self._archive = archive = tarfile.open(fileobj=cast(IO[bytes], file), mode="r:")  # noqa: SIM115 - the file is not ours
        self._members: dict[int, tarfile.TarInfo] = {}
        self._infos: list[zipfile.ZipInfo] = []
        for member in archive:
            info = _as_zipped(member, packed_bytes)
            self._members[id(info)] = member
            self._infos.append(info)
            if len(self._infos) > 4 * caps.files:
                raise Refused([too_many_files(name)])
        if file.last != bytes(tarfile.BLOCKSIZE):  # tarfile takes a file that breaks off between two members
            raise tarfile.ReadError("it breaks off")
        while file.read(_MOST_AT_ONCE):  # gzip checks what it unpacked at its very end
            pass

    def infolist(self) -> list[zipfile.ZipInfo]:
        return self._infos

    def open(self, info: zipfile.ZipInfo) -> IO[bytes]:
        """Return the content of a member. Raise one of `TAR_ERRORS` where it has none."""
        member = self._members[id(info)]
        if _data_filter:
            _data_filter(member, _ANY_FOLDER)
        content = self._archive.extractfile(member)
        if content is None:
            raise tarfile.ReadError("it has no content")
        return content


def _as_zipped(member: tarfile.TarInfo, packed_bytes: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(member.name)
    info.orig_filename = member.name + "/" * member.isdir()
    info.flag_bits = _UTF8_FLAG
    kind = stat.S_IFSOCK if member.issparse() else _TYPES.get(member.type, stat.S_IFREG)
    info.external_attr = (kind | 0o644) << 16
    info.compress_size = packed_bytes
    return info


@contextmanager
def opened(path: Path, name: str, caps: Caps) -> Iterator[TarFiles]:
    """Open the archive called `name`. Raise `Refused` where it is damaged or too large, also within the block."""
    size = path.stat().st_size
    most = int(min(caps.drop_mib * 2**20, max(size * caps.zip_ratio, 2**20)))
    most += 4 * caps.files * tarfile.BLOCKSIZE  # the headers
    with path.open("rb") as raw:
        packed = raw.read(2) == _GZIP
        raw.seek(0)
        file: IO[bytes] = gzip.GzipFile(fileobj=raw) if packed else raw  # type: ignore[assignment]
        try:
            yield TarFiles(_Bounded(file, most), caps, name, size)
        except _SwollenError:
            what, mend = "unpacks to more than a drop may hold", "send it unpacked, in a folder"
            raise Refused([refuse("zip-bomb", what, mend, file=name)]) from None
        except TAR_ERRORS:
            what, mend = "cannot be read as a tar archive", "copy it again, or pack the folder anew as a zip"
            raise Refused([refuse("tar-broken", what, mend, file=name)]) from None
