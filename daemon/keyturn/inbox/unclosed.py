"""Which files were written to and not closed since, by inotify(7): for files whose writers the system does not show us.

A folder is watched from when its drop is first seen. Whoever has opened a file before, and writes nothing after, is not
seen. After too many events at once all is forgotten: then the settle time alone decides.
"""

from __future__ import annotations

import ctypes
import os
import struct
from pathlib import Path

from keyturn.inbox.survey import Snapshot

MODIFY, CLOSE_WRITE, MOVED_FROM, DELETE, OVERFLOW, ONLYDIR = 0x2, 0x8, 0x40, 0x200, 0x4000, 0x01000000
"""Bits of linux/inotify.h."""

_EVENT = struct.Struct("iIII")
_ROOM = 1 << 16
_LIBC = ctypes.CDLL(None, use_errno=True)


class Unclosed:
    """The files in watched drops that are written to. Where inotify is not to be had, none is known."""

    def __init__(self) -> None:
        self._events = -1
        self._watches: dict[str, dict[str, int]] = {}
        self._folders: dict[int, tuple[str, str]] = {}
        self._open: dict[str, set[str]] = {}

    def watch(self, name: str, drop: Path, seen: Snapshot) -> None:
        """Watch the folders of the drop called `name` that are not watched yet."""
        if self._events < 0:
            self._events = _LIBC.inotify_init1(os.O_NONBLOCK | os.O_CLOEXEC)
        watched = self._watches.setdefault(name, {})
        for folder in ("", *(path for path, _ in seen if path.endswith("/"))):
            if self._events < 0 or folder in watched:
                continue
            mask = MODIFY | CLOSE_WRITE | MOVED_FROM | DELETE | ONLYDIR
            number = _LIBC.inotify_add_watch(self._events, os.fsencode(drop / folder), mask)
            if number >= 0:
                watched[folder] = number
                self._folders[number] = name, folder

    def first(self, name: str) -> str | None:
        """Return a file of the drop that was written to and not closed since; None where there is none."""
        self._read()
        return min(self._open.get(name, ()), default=None)

    def forget(self, name: str) -> None:
        """Watch the drop no more."""
        for number in self._watches.pop(name, {}).values():
            self._folders.pop(number, None)
            _LIBC.inotify_rm_watch(self._events, number)
        self._open.pop(name, None)

    def names(self) -> tuple[str, ...]:
        return tuple(self._watches)

    def _read(self) -> None:
        while self._events >= 0:
            try:
                data = os.read(self._events, _ROOM)
            except OSError:
                return
            at = 0
            while at < len(data):
                number, mask, _, length = _EVENT.unpack_from(data, at)
                at += _EVENT.size + length
                self._note(number, mask, os.fsdecode(data[at - length : at].rstrip(b"\0")))

    def _note(self, number: int, mask: int, file: str) -> None:
        if mask & OVERFLOW:
            self._open.clear()
        if number not in self._folders:
            return
        name, folder = self._folders[number]
        written = self._open.setdefault(name, set())
        if mask & MODIFY:
            written.add(folder + file)
        else:
            written.discard(folder + file)
