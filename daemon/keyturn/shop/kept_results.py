"""Results of work kept on disk, each under a key made from all that it depends on: the same work is done once.

It is a cache. It can be deleted at any time, by hand too. Several processes may share a folder: an entry appears by one
rename, and is never changed. What is torn, exchanged or changed on disk is found by its digest and counts as missing.
A disk that is full, read-only or failing costs the results, never the work.
"""

from __future__ import annotations

import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from keyturn.shop import durable_files
from keyturn.shop.durable_files import HALF_WRITTEN
from keyturn.shop.file_modes import CLOSED_DIR, make_folder

_DIGEST_BYTES = 32

_BLOCK = 4096
"""Bytes that most file systems give a file at least."""

LEFT_FREE = 2**30
LEFT_FREE_SHARE = 0.05
"""Bytes of the disk that are left to others, or this share of a small disk: a full disk stops the shop."""

AFTER_TIDYING = 7 / 8
"""Tidying leaves so much of the limit, so that it is not due again at once."""

LOOK_AFTER = 1 / 8
"""The folder is looked through again when so much of the limit was written, for other processes write too."""

LARGEST = 1 / 4
"""A result that takes more than this share of the limit is not kept."""

ABANDONED_S = 3600.0
"""A half-written file of this age, in seconds, is the rest of a process that was killed."""

_PREFIX = re.compile(r"[0-9a-f]{2}")
_NAME = re.compile(r"[0-9a-f]{62}")


class KeptEntry(NamedTuple):
    """One file of the folder: when it was last used, in seconds, and the bytes it takes."""

    used: float
    size: int
    path: Path


class KeptResults:
    """The results in `folder`, at most `most` bytes of them: what was used longest ago goes first.

    No method raises OSError.
    """

    def __init__(self, folder: Path, most: int) -> None:
        self.folder, self._most = folder, most
        self._held: int | None = None  # bytes at the last look and what was written since; None before the first
        self._written = 0  # bytes since the last look

    @property
    def room(self) -> int:
        """Bytes that can be kept for use within one drop, with what else is there."""
        return self._most // 2

    def has(self, key: bytes) -> bool:
        """Tell whether there is an entry; whether it is whole tells `read`."""
        return self._most > 0 and self._path(key).exists()

    def read(self, key: bytes) -> memoryview | None:
        """Return what was kept under `key`; None where there is nothing, or nothing whole."""
        path = self._path(key)
        try:
            data = durable_files.read_plain(path, int(LARGEST * self._most))
        except OSError:
            return None
        if data is None:
            return None
        body = memoryview(data)[_DIGEST_BYTES:]
        if data[:_DIGEST_BYTES] != _digest(key, body):
            self.forget(key)
            return None
        with suppress(OSError):  # a folder that only others may write
            os.utime(path)
        return body

    def write(self, key: bytes, body: bytes) -> None:
        """Keep `body` under `key`, if there is room; `key` has 32 bytes."""
        size = -(-(_DIGEST_BYTES + len(body)) // _BLOCK) * _BLOCK
        if len(body) > LARGEST * self._most - _DIGEST_BYTES:
            return
        with suppress(OSError):
            self._make_room(size)
            path = self._path(key)
            make_folder(path.parent, CLOSED_DIR)
            self._write(path, _digest(key, body), body)
            self._written += size
            self._held = (self._held or 0) + size

    def forget(self, key: bytes) -> None:
        with suppress(OSError):
            self._path(key).unlink()

    def size(self) -> int:
        """Return the bytes of all entries, by looking at each."""
        return sum(entry.size for entry in self._entries())

    def _write(self, path: Path, *pieces: bytes) -> None:
        """Write the file in one step. It need not outlive a power cut: a torn one is found by its digest.

        The temporary file lies in the folder itself, where recovery looks for the rest of a write that was cut off.
        """
        beside = self.folder / f".keyturn-{secrets.token_hex(6)}.tmp"
        try:
            with beside.open("xb") as file:
                file.writelines(pieces)
            beside.replace(path)
        except BaseException:
            with suppress(OSError):
                beside.unlink()
            raise

    def _path(self, key: bytes) -> Path:
        name = key.hex()
        return self.folder / name[:2] / name[2:]

    # -- room ---------------------------------------------------------------------------------------

    def _make_room(self, size: int) -> None:
        """Remove what was used longest ago where `size` more bytes are too many. Raise OSError where none is left."""
        free = self._free()
        looked = self._held is not None and self._written <= LOOK_AFTER * self._most
        if looked and (self._held or 0) + size <= self._most and free >= size:
            return
        entries = sorted(self._entries())
        held = sum(entry.size for entry in entries)
        most = min(self._most, held + free)
        if held + size > most:
            for entry in entries:
                if held + size <= AFTER_TIDYING * most:
                    break
                with suppress(FileNotFoundError):  # another process tidies too
                    entry.path.unlink()
                held -= entry.size
        self._held, self._written = held, 0
        if self._free() < size:
            raise OSError("the disk is needed for other things")

    def _free(self) -> int:
        """Return the bytes that may be taken; less than 0 where the disk is fuller than it should be."""
        make_folder(self.folder, CLOSED_DIR)
        disk = os.statvfs(self.folder)
        left = min(LEFT_FREE, int(LEFT_FREE_SHARE * disk.f_blocks * disk.f_frsize))
        return disk.f_bavail * disk.f_frsize - left

    def _entries(self) -> Iterator[KeptEntry]:
        """Yield every entry, and half-written files that nobody writes any more."""
        yield from _entries_in(self.folder)
        with suppress(OSError), os.scandir(self.folder) as prefixes:
            for prefix in sorted(entry.path for entry in prefixes if _PREFIX.fullmatch(entry.name)):
                yield from _entries_in(Path(prefix))


def _entries_in(folder: Path) -> Iterator[KeptEntry]:
    with suppress(OSError), os.scandir(folder) as files:
        for file in files:
            is_half = HALF_WRITTEN.fullmatch(file.name) is not None
            if not is_half and not _NAME.fullmatch(file.name):
                continue
            with suppress(OSError):
                seen = file.stat(follow_symlinks=False)
                if not is_half or seen.st_mtime < time.time() - ABANDONED_S:
                    yield KeptEntry(seen.st_mtime, max(seen.st_size, 512 * seen.st_blocks), Path(file.path))


def _digest(key: bytes, body: bytes | memoryview) -> bytes:
    """Return the digest of `body` where it stands under `key`: an entry in another's place is found too."""
    from blake3 import blake3

    return blake3(body, key=key).digest()
