"""List the files of a drop without opening any, and check their names, kinds, number and sizes.

The walk follows no link: a link may lead anywhere.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from keyturn.shop.file_digests import FileDigests
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.file_names import case_twins, is_in_cloud, is_junk, looks_half_copied
from keyturn.shop.name_rules import Names
from keyturn.shop.reasons import Reason, mended, refuse
from keyturn.shop.units import MIB

if TYPE_CHECKING:  # commands that read no rules need not wait for it
    from keyturn.shop.rulebook import Caps, Intake

MENDED = "MENDED.txt"
"""Lies in a refused drop of which a mended copy was published: nothing is left to do about it."""

OURS = ("REJECTED.html", "REJECTED.txt", "REJECTED.json", MENDED)
"""Files that Keyturn adds to a rejected drop; they come back with it and are not the artist's."""

SMALL_FILES, SMALL_BYTES = 200, 64 * MIB
"""A drop with more files, or more bytes in them, is large."""

Snapshot = frozenset[tuple[str, FileIdentity]]
"""The entries of a drop: their paths in it (a folder's ends in `/`) and identities."""


@dataclass(frozen=True, slots=True)
class Survey:
    """The artist's files in `root`, as sorted `/`-separated relative paths, and what is wrong with them."""

    root: Path
    files: tuple[str, ...]
    reasons: tuple[Reason, ...]


def snapshot(path: Path, most: int = 200_000) -> Snapshot:
    """Return every entry below `path`, junk included; or `path` itself, named "", where it is a file.

    A drop did not change between two equal snapshots. An entry that vanishes during the walk is left out. The walk
    stops at `most` entries: `survey` refuses such a drop.
    """
    seen: set[tuple[str, FileIdentity]] = set()
    for name, entry_stat in _entries(path):
        if name.endswith("/"):  # its size and time change with its files, which are listed themselves
            seen.add((name, FileIdentity(0, 0, entry_stat.st_ino, entry_stat.st_dev)))
        else:
            seen.add((name, FileIdentity.of(entry_stat)))
        if len(seen) >= most:
            break
    return frozenset(seen)


def is_small(seen: Snapshot) -> bool:
    """Tell whether a drop of these entries holds little enough to be made beside a large one."""
    return len(seen) <= SMALL_FILES and sum(identity.size for _, identity in seen) <= SMALL_BYTES


def _entries(path: Path) -> Iterator[tuple[str, os.stat_result]]:
    try:
        own = path.lstat()
    except FileNotFoundError:
        return
    if not stat.S_ISDIR(own.st_mode):
        yield "", own
        return
    pending = [(path, "")]
    while pending:
        folder, prefix = pending.pop()
        for entry in _scandir(folder):
            try:
                entry_stat = entry.stat(follow_symlinks=False)
            except FileNotFoundError:
                continue
            name = prefix + entry.name
            if stat.S_ISDIR(entry_stat.st_mode):
                pending.append((Path(entry.path), name + "/"))
                name += "/"
            yield name, entry_stat


def _scandir(folder: Path) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return list(entries)
    except (FileNotFoundError, NotADirectoryError):
        return []


def survey(root: Path, intake: Intake) -> Survey:
    """Return the artist's files in `root`, and every reason to refuse them as files."""
    files: list[str] = []
    faults: list[Reason] = []
    junk = total = 0
    for name, entry_stat in _entries(root):
        if name in OURS:
            continue
        if any(is_junk(step, intake.names) for step in name.strip("/").split("/")):
            junk += 1
            continue
        if name.endswith("/"):
            continue
        total += entry_stat.st_size
        fault = _fault(name, entry_stat, intake.caps, intake.names)
        if fault is not None:
            faults.append(fault)
        else:
            files.append(name)
        if len(files) > intake.caps.files:
            break
    faults += _too_much(len(files), total, intake.caps)
    faults += [_case_twins(twins) for twins in case_twins(files)]
    return Survey(root, tuple(sorted(files)), (*faults, *junk_skipped(junk)))


def junk_skipped(count: int) -> tuple[Reason, ...]:
    """Return the notice that `count` junk files were left out; none for 0."""
    if not count:
        return ()
    files = "1 file" if count == 1 else f"{count} files"
    skipped = "was skipped" if count == 1 else "were skipped"
    return (mended("junk-skipped", f"{files} that desktop systems leave behind {skipped}"),)


def _fault(name: str, entry_stat: os.stat_result, caps: Caps, names: Names) -> Reason | None:
    """Return the first thing wrong with one file, or None."""
    readable = name.encode("utf-8", "backslashreplace").decode("utf-8")
    if readable != name:
        return refuse("name-not-text", "its name is not readable as UTF-8", "rename it in plain letters", file=readable)
    if looks_half_copied(name.rsplit("/", 1)[-1], names):
        what, mend = "looks like a file whose copying broke off", "copy it again, or take it out"
        return refuse("half-copied", what, mend, file=name)
    if is_in_cloud(name.rsplit("/", 1)[-1], names):
        what, mend = "is still in iCloud", "let it load there, then copy the folder again"
        return refuse("still-in-cloud", what, mend, file=_in_full(name))
    if not stat.S_ISREG(entry_stat.st_mode):
        kind = "a link" if stat.S_ISLNK(entry_stat.st_mode) else "not an ordinary file"
        return refuse("not-a-file", f"is {kind}", "put the file itself here", file=name)
    if name.count("/") > caps.folder_depth:
        return refuse("too-deep", "lies too deep in folders", f"use at most {caps.folder_depth} levels", file=name)
    if entry_stat.st_size > caps.file_mib * 2**20:
        mib = entry_stat.st_size / 2**20
        mend = f"make it at most {caps.file_mib:g} MiB"
        return refuse("file-too-large", f"is {mib:,.0f} MiB", mend, file=name)
    return None


def _in_full(stand_in: str) -> str:
    """Return the path of the file that `.lamp.png.icloud` stands in for: `lamp.png`."""
    folder, slash, name = stand_in.rpartition("/")
    return folder + slash + name.removeprefix(".").rpartition(".")[0]


def _too_much(count: int, total: int, caps: Caps) -> list[Reason]:
    found = []
    if count > caps.files:
        found.append(refuse("too-many-files", f"holds more than {caps.files} files", "split it into several drops"))
    if total > caps.drop_mib * 2**20:
        what = f"holds {total / 2**20:,.0f} MiB"
        found.append(refuse("drop-too-large", what, f"split it into drops of at most {caps.drop_mib:g} MiB"))
    return found


def _case_twins(twins: tuple[str, ...]) -> Reason:
    return refuse(
        "names-equal-but-case",
        f"differs from {', '.join(twins[1:])} only in capital letters",
        "rename one of them: sticks cannot tell them apart",
        file=twins[0],
    )


def digest(found: Survey, digests: FileDigests) -> str:
    """Return the SHA-256 of all names and of the digests of all contents, in hex.

    Where the drop lies and its times do not matter.
    """
    total = hashlib.sha256()
    for name in found.files:
        total.update(f"{name}\0{digests.of(found.root / name).hex()}\0".encode())
    return total.hexdigest()
