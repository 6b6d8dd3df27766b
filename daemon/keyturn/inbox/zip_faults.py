"""Find what is wrong with the files of a zip before anything is written."""

from __future__ import annotations

import stat
import zipfile
from collections import Counter
from collections.abc import Sequence

from keyturn.inbox.moving import LONGEST_NAME
from keyturn.inbox.zip_directory import ZippedFile, printable, too_many_files
from keyturn.shop.file_names import case_twins, fat_faults
from keyturn.shop.name_rules import Fat
from keyturn.shop.reasons import Reason, refuse
from keyturn.shop.rulebook import Caps

_METHODS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
"""Other methods are rare, and `zipfile` cannot unpack them in small pieces, which the caps on sizes need."""

_METHOD_NAMES = {6: "Implode", 9: "Deflate64", 12: "bzip2", 14: "LZMA", 93: "Zstandard", 95: "XZ", 98: "PPMd"}
_LOCKED_FLAGS = 1 << 0 | 1 << 6 | 1 << 13  # APPNOTE 4.4.4: encrypted, strongly encrypted, masked headers


def zip_faults(files: list[ZippedFile], name: str, caps: Caps, fat: Fat) -> list[Reason]:
    """Return every reason to refuse the zip called `name`, from its directory alone."""
    found = _count_faults(files, name, caps) + _password_faults(files, name)
    for file in files:
        found += _file_faults(file, caps, fat)
    return found + _name_clashes([file.path for file in files])


def _count_faults(files: list[ZippedFile], name: str, caps: Caps) -> list[Reason]:
    if not files:
        return [refuse("zip-empty", "holds no files", "zip the drop's folder", file=name)]
    return [too_many_files(name)] if len(files) > caps.files else []


def _password_faults(files: list[ZippedFile], name: str) -> list[Reason]:
    locked = sum(bool(file.info.flag_bits & _LOCKED_FLAGS) for file in files)
    if not locked:
        return []
    what = f"is locked with a password ({locked} of {len(files)} files)"
    return [refuse("zip-locked", what, "zip it again without a password", file=name)]


def _file_faults(file: ZippedFile, caps: Caps, fat: Fat) -> list[Reason]:
    return [*_name_faults(file.path, fat), *_kind_faults(file), *_depth_faults(file.path, caps), *_method_faults(file)]


def _name_faults(path: str, fat: Fat) -> list[Reason]:
    faults = [*fat_faults(path, fat), *_linux_faults(path)]
    return [refuse("name-not-holdable", fault, "rename it in plain letters", file=printable(path)) for fault in faults]


def _linux_faults(path: str) -> list[str]:
    """Linux counts a name in bytes, FAT in letters: a name of few letters may be too long for Linux alone."""
    longest = max(len(step.encode("utf-8", "surrogatepass")) for step in path.split("/"))
    if longest <= LONGEST_NAME:
        return []
    return [f"has a name of {longest} bytes; {LONGEST_NAME} is the longest"]


def _kind_faults(file: ZippedFile) -> list[Reason]:
    kind = stat.S_IFMT(file.info.external_attr >> 16)
    if kind in (0, stat.S_IFREG):
        return []
    what = "is a link" if kind == stat.S_IFLNK else "is not an ordinary file"
    return [refuse("not-a-file", what, "put the file itself here", file=printable(file.path))]


def _depth_faults(path: str, caps: Caps) -> list[Reason]:
    if path.count("/") <= caps.folder_depth:
        return []
    mend = f"use at most {caps.folder_depth} levels"
    return [refuse("too-deep", "lies too deep in folders", mend, file=printable(path))]


def _method_faults(file: ZippedFile) -> list[Reason]:
    method = file.info.compress_type
    if method in _METHODS:
        return []
    what = f"is packed in an unusual way ({_METHOD_NAMES.get(method, f'method {method}')})"
    return [refuse("zip-method", what, "zip it the ordinary way (store or deflate)", file=printable(file.path))]


def _name_clashes(paths: Sequence[str]) -> list[Reason]:
    """Return a reason for each path that another one would overwrite, on Linux or on a stick."""
    counts = {path: count for path, count in Counter(paths).items() if count > 1}
    folders = {path[:at] for path in paths for at in range(len(path)) if path[at] == "/"}
    return [
        *(_doubled(path, f"is in the zip {count} times") for path, count in counts.items()),
        *(_doubled(path, "is both a file and a folder") for path in sorted(folders & set(paths))),
        *(_case_twins(twins) for twins in case_twins(paths)),
    ]


def _doubled(path: str, what: str) -> Reason:
    return refuse("zip-doubled", what, "zip the drop again", file=printable(path))


def _case_twins(twins: tuple[str, ...]) -> Reason:
    what = f"differs from {', '.join(twins[1:])} only in capital letters"
    return refuse("names-equal-but-case", what, "rename one of them", file=twins[0])
