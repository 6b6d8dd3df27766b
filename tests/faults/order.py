"""Reads a trace for the order of fsyncs: what a name leads to is on disk before the name, and the name before
whatever comes next.

fsync(2): "Calling fsync() does not necessarily ensure that the entry in the directory containing the file has also
reached disk. For that an explicit fsync() on a file descriptor for the directory is also needed."
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

from keyturn.shop.folders import Shop

TRACED = "rename,mkdir,openat,write,pwrite64,writev,copy_file_range,sendfile,ftruncate,fsync,fdatasync"

_CALL = re.compile(r"(\w+)\((.*)\)\s+= (-?\d+)")
_TEXT = re.compile(r'"([^"]*)"')
_HALF = re.compile(r"\.keyturn-[0-9a-f]{12}\.tmp")
"""A file that is replaced in one step: the folder it lies in may be made durable after it."""

_OPEN_FILE = re.compile(r"^\d+<([^>]*)>")


@dataclass
class Reader:
    """`unsynced` are files with bytes and folders with names that are not yet on disk; `renamed` those of
    the last rename, which must be there before the next."""

    shop: Shop
    unsynced: dict[Path, str] = field(default_factory=dict)
    renamed: set[Path] = field(default_factory=set)
    renames: int = 0
    faults: list[str] = field(default_factory=list)

    def read(self, trace: str) -> Reader:
        for text in trace.splitlines():
            found = _CALL.match(text)
            if found and not found[3].startswith("-"):
                self._call(found[1], found[2])
        return self

    def _call(self, name: str, given: str) -> None:
        paths = [Path(p) for p in _TEXT.findall(given)]
        if name == "openat" and "O_CREAT" in given and self._ours(paths[0]):
            self.unsynced |= {paths[0]: "opened", paths[0].parent: f"made {paths[0].name} in it"}
        elif name == "mkdir" and self._ours(paths[0]):
            self.unsynced |= {paths[0]: "made", paths[0].parent: f"made {paths[0].name} in it"}
        elif name in ("fsync", "fdatasync"):
            self._synced(_open_file(given))
        elif name == "rename" and self._ours(paths[1]):
            self._renamed(*paths)
        elif name != "openat" and (path := _open_file(given)) is not None and self._ours(path):
            self.unsynced[path] = "written"

    def _ours(self, path: Path) -> bool:
        """SQLite looks after the ledger itself; the lock holds nothing; what is kept for revisions may be lost."""
        own = path.is_relative_to(self.shop.root) and not path.is_relative_to(self.shop.kept)
        return own and not path.name.startswith(("ledger", "service.lock"))

    def _synced(self, path: Path | None) -> None:
        if path is not None:
            self.unsynced.pop(path, None)
            self.renamed.discard(path)

    def _renamed(self, source: Path, target: Path) -> None:
        for folder in self.renamed:
            self.faults.append(f"{folder} was not synced after a rename before {source} went to {target}")
        inside = {p: why for p, why in self.unsynced.items() if p.is_relative_to(source)}
        if self._for_good(target):
            self.renames += 1
            self.faults += [f"{p} ({why}) was not synced before {target} appeared" for p, why in inside.items()]
            above = target.parent.parent
            if not _HALF.fullmatch(source.name) and target.parent.name in self.unsynced.get(above, ""):
                self.faults.append(f"{above} was not synced after making {target.parent}")
        for path in inside:
            self.unsynced[target / path.relative_to(source)] = self.unsynced.pop(path)
        self.renamed = {target.parent, source.parent} if self._for_good(target) else set()

    def _for_good(self, target: Path) -> bool:
        """A name that somebody outside sees, or that recovery goes by."""
        if target.is_relative_to(self.shop.building) or "scratch" in target.parts:
            return False
        return self._ours(target)


def _open_file(given: str) -> Path | None:
    found = _OPEN_FILE.match(given)
    return Path(found[1]) if found else None
