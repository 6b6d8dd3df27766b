"""Unpack an artist's zip so that nothing in it can reach outside its folder or fill the disk.

The headers of a zip may lie. Names, links and passwords are judged before anything is written; sizes are
counted as the bytes come out.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from keyturn.inbox import tar_files
from keyturn.inbox.survey import junk_skipped
from keyturn.inbox.tar_files import TAR_ERRORS, TarFiles
from keyturn.inbox.zip_directory import (
    ZIP_AGAIN,
    ZIP_ERRORS,
    GuardedFile,
    ZippedFile,
    list_files,
    open_zip,
    printable,
)
from keyturn.inbox.zip_faults import zip_faults
from keyturn.shop import rulebook
from keyturn.shop.name_rules import Fat
from keyturn.shop.reasons import Reason, refuse, stop_if_refused
from keyturn.shop.rulebook import Caps, Intake

_CHUNK, _MIB = 1 << 16, 1 << 20
_RATIO_FROM = _MIB
"""Bytes: a file that unpacks to less may be compressed by any ratio."""


def unpack(zip_path: Path, into: Path, intake: Intake, *, name: str, fat: Fat | None = None) -> tuple[Reason, ...]:
    """Unpack the zip or tar called `name` into the empty folder `into`. Return what was mended.

    Backslashes count as slashes, a single top folder is taken off, junk files are skipped, and a zip inside
    stays a file. The zip's file modes and times are ignored. `fat` defaults to the rules that ship.
    Raise `Refused`, and leave some of the files in `into`, where something is wrong with the zip. Raise
    OSError where the disk fails.
    """
    caps = intake.caps
    with _opened(zip_path, name, caps) as archive:
        files, junk, outside = list_files(archive.infolist(), intake.names)
        stop_if_refused([*outside, *zip_faults(files, name, caps, fat or rulebook.load().usb.fat)])
        stop_if_refused(_write_all(archive, files, into, caps, zip_path.stat().st_size, name))
    return junk_skipped(junk)


@contextmanager
def _opened(path: Path, name: str, caps: Caps) -> Iterator[zipfile.ZipFile | TarFiles]:
    if tar_files.is_tar(path):
        with tar_files.opened(path, name, caps) as archive:
            yield archive
        return
    with path.open("rb", buffering=0) as raw, GuardedFile(raw, caps.files) as guarded:
        yield open_zip(guarded, name, caps)


def _write_all(
    archive: zipfile.ZipFile | TarFiles, files: list[ZippedFile], into: Path, caps: Caps, zip_bytes: int, name: str
) -> list[Reason]:
    """Write the files. Return a reason for each that is damaged or too large; stop where the drop is too large."""
    faults: list[Reason] = []
    left = int(caps.drop_mib * _MIB)
    for file in files:
        ratio_cap = int(min(file.info.compress_size, zip_bytes) * caps.zip_ratio)
        most = _MostBytes(int(caps.file_mib * _MIB), max(ratio_cap, _RATIO_FROM), left)
        try:
            left -= _write(archive, file, into / file.path, most)
        except _TooLargeError as error:
            faults.append(error.reason(file, caps, name))
            if error.fills_drop:
                break
            left -= error.written
        except (*ZIP_ERRORS, *TAR_ERRORS):
            what = "is damaged in the zip and cannot be unpacked"
            faults.append(refuse("zip-broken", what, ZIP_AGAIN, file=printable(file.path)))
    return faults


@dataclass(frozen=True, slots=True)
class _MostBytes:
    """Most bytes that one file may unpack to: for any file, for its size in the zip, and for the drop so far."""

    file: int
    packed: int
    drop: int


class _TooLargeError(Exception):
    """A file unpacks to more bytes than it may; `written` of them were written."""

    def __init__(self, written: int, most: _MostBytes) -> None:
        self.written, self._most = written, most
        super().__init__()

    @property
    def fills_drop(self) -> bool:
        """Is the drop as a whole too large?"""
        return self.written > self._most.drop

    def reason(self, file: ZippedFile, caps: Caps, name: str) -> Reason:
        if self.fills_drop:
            what = f"unpacks to more than {caps.drop_mib:g} MiB"
            return refuse("drop-too-large", what, "split it into several drops", file=name)
        if self.written > self._most.packed:
            what = f"unpacks to more than {caps.zip_ratio:g} times its size in the zip"
            return refuse("zip-bomb", what, "send it unzipped, in a folder", file=printable(file.path))
        what = f"unpacks to more than {caps.file_mib:g} MiB"
        return refuse("file-too-large", what, "make it smaller", file=printable(file.path))


def _write(archive: zipfile.ZipFile | TarFiles, file: ZippedFile, target: Path, most: _MostBytes) -> int:
    """Write one file and return its bytes. Raise `_TooLargeError`, or one of `ZIP_ERRORS`."""
    written = 0
    with archive.open(file.info) as source:
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as output:
            while chunk := source.read(_CHUNK):
                written += len(chunk)
                if written > min(most.file, most.packed, most.drop):
                    raise _TooLargeError(written, most)
                output.write(chunk)
    return written
