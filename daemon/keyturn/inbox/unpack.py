"""An artist's zip of a drop, unpacked so that nothing in it can reach outside or fill the disk.

Format: ZIP application note (PKWARE APPNOTE). The headers are the sender's word: names, links and
locks are judged before anything is written, sizes by the bytes that really come out.
"""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from pathlib import Path

from keyturn.inbox.zip_directory import (
    BROKEN,
    COPY_AGAIN,
    GuardedFile,
    ZippedFile,
    opened,
    shown,
    sorted_out,
    without_top_folder,
)
from keyturn.inbox.zip_faults import zip_faults
from keyturn.shop import rulebook
from keyturn.shop.reasons import Reason, mended, refuse, stop_if_refused
from keyturn.shop.rulebook import Caps, Fat, Intake

_CHUNK, _MIB = 1 << 16, 1 << 20
_RATIO_FROM = _MIB  # below this size any ratio is harmless


def unpack(zip_path: Path, into: Path, intake: Intake, *, name: str, fat: Fat | None = None) -> tuple[Reason, ...]:
    """Unpacks the zip called `name` into the empty folder `into`; returns what was mended.

    Backslashes count as slashes, a single top folder is taken off, litter is skipped, a zip within is
    left as a file; modes and times of the zip are ignored. `fat` defaults to the rules that ship.
    Raises `Refused`; part of the files may then lie in `into`. OSError is the disk's.
    """
    caps = intake.caps
    with zip_path.open("rb", buffering=0) as raw, GuardedFile(raw, caps.files) as file:
        archive = opened(file, name, caps)
        faults: list[Reason] = []
        items, junk = sorted_out(archive.infolist(), intake, faults)
        items = without_top_folder(items)
        faults += zip_faults(items, name, caps, fat or rulebook.load().usb.fat)
        stop_if_refused(faults)
        stop_if_refused(_unpacked(archive, items, into, caps, zip_path.stat().st_size, name))
    if junk:
        return (mended("junk-skipped", f"{junk} files that desktop systems leave behind were skipped"),)
    return ()


def _unpacked(
    archive: zipfile.ZipFile, items: list[ZippedFile], into: Path, caps: Caps, zip_bytes: int, name: str
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
        except BROKEN as error:
            faults.append(refuse("zip-broken", f"cannot be unpacked ({error})", COPY_AGAIN, file=shown(item.path)))
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

    def reason(self, item: ZippedFile, caps: Caps, name: str) -> Reason:
        if self.drop:
            what = f"unpacks to more than {caps.drop_mib:g} MiB"
            return refuse("drop-too-large", what, "split it into several drops", file=name)
        if self.written > self._allowed.packed:
            what = f"unpacks to more than {caps.zip_ratio:g} times its size in the zip"
            return refuse("zip-bomb", what, "send it unzipped, in a folder", file=shown(item.path))
        what = f"unpacks to more than {caps.file_mib:g} MiB"
        return refuse("file-too-large", what, "make it smaller", file=shown(item.path))


def _write(archive: zipfile.ZipFile, item: ZippedFile, target: Path, allowed: _Allowed) -> int:
    """Writes one file and returns its bytes. Raises `_Over`, or one of `BROKEN`."""
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
