"""What lies in a drop: a walk that follows no link, opens no device and counts before it trusts."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from keyturn.shop import durable_files
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.file_names import case_twins, is_junk, looks_half_copied
from keyturn.shop.reasons import Reason, mended, refuse
from keyturn.shop.rulebook import Caps, Intake, Names

OURS = ("REJECTED.html", "REJECTED.txt", "REJECTED.json")

Seen = tuple[str, FileIdentity]
"""A file as the settle watch sees it: its name relative to the drop, and its identity."""


@dataclass(frozen=True, slots=True)
class Survey:
    """Files of a drop by relative `/` path, sorted; junk and our own notices are left out."""

    root: Path
    files: tuple[str, ...]
    reasons: tuple[Reason, ...]


def snapshot(path: Path, most: int = 200_000) -> frozenset[Seen]:
    """Every entry below `path` (or `path` itself where it is a file), junk and all, following no link.

    Two equal snapshots some time apart are how a drop is known to lie still. Entries that vanish
    meanwhile are simply not seen. Beyond `most` entries counting stops: the survey refuses such a drop.
    """
    seen: set[Seen] = set()
    for name, entry_stat in _entries(path):
        if name.endswith("/"):  # a folder's own size and time change as its files do; its files say it better
            seen.add((name, FileIdentity(0, 0, entry_stat.st_ino, entry_stat.st_dev)))
        else:
            seen.add((name, FileIdentity.of(entry_stat)))
        if len(seen) >= most:
            break
    return frozenset(seen)


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
    """The artist's files in `root` and what is wrong with them as files, all at once."""
    files: list[str] = []
    reasons: list[Reason] = []
    junk = 0
    total = 0
    for name, entry_stat in _entries(root):
        if name in OURS or any(is_junk(step, intake.names) for step in name.strip("/").split("/")):
            junk += name not in OURS
            continue
        if name.endswith("/"):
            continue
        total += entry_stat.st_size
        fault = _fault(name, entry_stat, intake.caps, intake.names)
        if fault is not None:
            reasons.append(fault)
        else:
            files.append(name)
        if len(files) > intake.caps.files:
            break
    reasons += _too_much(len(files), total, intake.caps)
    reasons += [_twin(twins) for twins in case_twins(files)]
    if junk:
        reasons.append(mended("junk-skipped", f"{junk} files that desktop systems leave behind were skipped"))
    return Survey(root, tuple(sorted(files)), tuple(reasons))


def _fault(name: str, entry_stat: os.stat_result, caps: Caps, names: Names) -> Reason | None:
    shown = name.encode("utf-8", "backslashreplace").decode("utf-8")
    if shown != name:
        return refuse("name-not-text", "its name is not readable as UTF-8", "rename it in plain letters", file=shown)
    if looks_half_copied(name.rsplit("/", 1)[-1], names):
        mend = "copy it again, or take it out"
        return refuse("half-copied", "looks like a file whose copying broke off", mend, file=name)
    if not stat.S_ISREG(entry_stat.st_mode):
        kind = "a link" if stat.S_ISLNK(entry_stat.st_mode) else "not an ordinary file"
        return refuse("not-a-file", f"is {kind}", "put the file itself here", file=name)
    if name.count("/") > caps.folder_depth:
        return refuse("too-deep", "lies too deep in folders", f"use at most {caps.folder_depth} levels", file=name)
    if entry_stat.st_size > caps.file_mib * 2**20:
        mib = entry_stat.st_size / 2**20
        return refuse("file-too-large", f"is {mib:,.0f} MiB", f"at most {caps.file_mib:g} MiB a file", file=name)
    return None


def _too_much(count: int, total: int, caps: Caps) -> list[Reason]:
    found = []
    if count > caps.files:
        found.append(refuse("too-many-files", f"holds more than {caps.files} files", "split it into several drops"))
    if total > caps.drop_mib * 2**20:
        mib = total / 2**20
        found.append(refuse("drop-too-large", f"holds {mib:,.0f} MiB", f"at most {caps.drop_mib:g} MiB a drop"))
    return found


def _twin(twins: tuple[str, ...]) -> Reason:
    return refuse(
        "names-equal-but-case",
        f"differs from {', '.join(twins[1:])} only in capital letters",
        "rename one of them: sticks cannot tell them apart",
        file=twins[0],
    )


def digest(found: Survey) -> str:
    """SHA-256 over names and contents: equal drops have equal digests wherever and whenever they lay."""
    total = hashlib.sha256()
    for name in found.files:
        total.update(f"{name}\0{durable_files.sha256(found.root / name)}\0".encode())
    return total.hexdigest()
