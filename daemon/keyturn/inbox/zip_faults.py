"""What is wrong with the files of a zip, found before anything is written."""

from __future__ import annotations

import stat
import zipfile
from collections import Counter
from collections.abc import Sequence

from keyturn.inbox.zip_directory import ZippedFile, shown, too_many
from keyturn.shop.file_names import case_twins, fat_faults
from keyturn.shop.reasons import Reason, refuse
from keyturn.shop.rulebook import Caps, Fat

_METHODS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
"""Other methods are rare, and their decoders cannot be asked for a little at a time."""

_METHOD_NAMES = {6: "Implode", 9: "Deflate64", 12: "bzip2", 14: "LZMA", 93: "Zstandard", 95: "XZ", 98: "PPMd"}
_LOCKED = 1 << 0 | 1 << 6 | 1 << 13


def zip_faults(items: list[ZippedFile], name: str, caps: Caps, fat: Fat) -> list[Reason]:
    found = _counted(items, name, caps) + _locked(items, name)
    for item in items:
        found += _item_faults(item, caps, fat)
    return found + _collisions([item.path for item in items])


def _counted(items: list[ZippedFile], name: str, caps: Caps) -> list[Reason]:
    if not items:
        return [refuse("zip-empty", "holds no files", "zip the drop's folder", file=name)]
    return [too_many(name)] if len(items) > caps.files else []


def _locked(items: list[ZippedFile], name: str) -> list[Reason]:
    locked = sum(bool(item.info.flag_bits & _LOCKED) for item in items)
    if not locked:
        return []
    what = f"is locked with a password ({locked} of {len(items)} files)"
    return [refuse("zip-locked", what, "zip it again without one", file=name)]


def _item_faults(item: ZippedFile, caps: Caps, fat: Fat) -> list[Reason]:
    shown_name = shown(item.path)
    found = [
        refuse("name-not-holdable", fault, "rename it in plain letters", file=shown_name)
        for fault in (*fat_faults(item.path, fat), *_linux_faults(item.path))
    ]
    if (mode := stat.S_IFMT(item.info.external_attr >> 16)) not in (0, stat.S_IFREG):
        kind = "a link" if mode == stat.S_IFLNK else "not an ordinary file"
        found.append(refuse("not-a-file", f"is {kind}", "put the file itself here", file=shown_name))
    if item.path.count("/") > caps.folder_depth:
        mend = f"use at most {caps.folder_depth} levels"
        found.append(refuse("too-deep", "lies too deep in folders", mend, file=shown_name))
    method = item.info.compress_type
    if method not in _METHODS:
        what = f"is packed in an unusual way ({_METHOD_NAMES.get(method, f'method {method}')})"
        found.append(refuse("zip-method", what, "zip it the ordinary way (store or deflate)", file=shown_name))
    return found


def _linux_faults(path: str) -> list[str]:
    """Linux holds 255 bytes a name (limits.h NAME_MAX), which is less than FAT's where letters need several."""
    longest = max(len(step.encode("utf-8", "surrogatepass")) for step in path.split("/"))
    return [f"has a name of {longest} bytes; 255 is the longest"] if longest > 255 else []


def _collisions(paths: Sequence[str]) -> list[Reason]:
    mend = "zip the drop anew"
    folders = {path[:at] for path in paths for at in range(len(path)) if path[at] == "/"}
    found = [
        refuse("zip-doubled", f"is in the zip {count} times", mend, file=shown(path))
        for path, count in Counter(paths).items()
        if count > 1
    ]
    both = sorted(folders & set(paths))
    found += [refuse("zip-doubled", "is both a file and a folder", mend, file=shown(path)) for path in both]
    for first, *others in case_twins(paths):
        what = f"differs from {', '.join(others)} only in capital letters"
        found.append(refuse("names-equal-but-case", what, "rename one of them", file=first))
    return found
