"""Names of files: which are junk or half-copied, which a stick can hold, and folder names made from any text.

Nothing here reads the disk.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from fnmatch import translate
from functools import lru_cache
from pathlib import PurePosixPath

from keyturn.shop.name_rules import Fat, Names


def is_junk(name: str, rules: Names) -> bool:
    """Tell whether `name`, one step of a path, is junk that desktop systems, browsers or sync programs leave."""
    return _matches(name, rules.junk)


def may_be_drop(name: str, rules: Names) -> bool:
    """Tell whether an entry of the inbox may be a drop: it is not hidden, not junk and not half-copied."""
    return not (name.startswith(".") or is_junk(name, rules) or looks_half_copied(name, rules))


def looks_half_copied(name: str, rules: Names) -> bool:
    """Tell whether `name`, one step of a path, looks like a file that is still being written."""
    return _matches(name, rules.half_copied) and not is_in_cloud(name, rules)


def is_in_cloud(name: str, rules: Names) -> bool:
    """Tell whether `name`, one step of a path, stands in for a file that a cloud's program has not loaded."""
    return _matches(name, rules.in_cloud)


def _matches(name: str, patterns: tuple[str, ...]) -> bool:
    return _any_of(patterns).match(name.casefold()) is not None


@lru_cache(maxsize=64)
def _any_of(patterns: tuple[str, ...]) -> re.Pattern[str]:
    """Compile all patterns into one, because drops of thousands of files are checked every few seconds."""
    return re.compile("|".join(translate(p.casefold()) for p in patterns) or r"(?!)")


def without_ending(name: str) -> str:
    """Return the name of a packed drop without its ending: "van" for van.zip and for van.tar.gz."""
    return PurePosixPath(name).stem.removesuffix(".tar") or name


# -- what a stick can hold --------------------------------------------------------------------------

_SUPERSCRIPTS = str.maketrans("\u00b9\u00b2\u00b3", "123")


def fat_faults(path: str, fat: Fat) -> tuple[str, ...]:
    """Return why a FAT file system cannot hold the relative, `/`-separated `path`; nothing where it can.

    Source: the FAT specification (fatgen103, long names) and 'Naming Files, Paths, and Namespaces'.
    """
    return tuple(fault for step in path.split("/") for fault in _step_faults(step, fat))


def _step_faults(step: str, fat: Fat) -> list[str]:
    if not step:
        return ["has an empty name between two slashes"]
    faults = []
    if bad := sorted(set(step) & set(fat.forbidden)):
        faults.append(f"has {' '.join(bad)} in its name")
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in step):
        faults.append("has control characters in its name")
    if step[-1] in " .":
        faults.append("ends in a space or a dot")
    if _device(step) in fat.reserved:
        faults.append(f"is called {_device(step)}, which Windows keeps for a device")
    units = len(step.encode("utf-16-le", "surrogatepass")) // 2
    if units > fat.longest:
        faults.append(f"has a name of {units} characters; {fat.longest} is the longest")
    return faults


def _device(step: str) -> str:
    """Return the part of `step` that Windows compares with device names: up to its first dot, in capitals.

    Superscript digits count as digits.
    """
    return step.split(".", 1)[0].rstrip(" ").translate(_SUPERSCRIPTS).upper()


def case_twins(paths: Iterable[str]) -> tuple[tuple[str, ...], ...]:
    """Return the groups of paths in one folder whose names differ only in capital letters, sorted.

    Two such folders make one group; the files in them make none.
    """
    groups: dict[tuple[str, str], set[str]] = {}
    for path in paths:
        steps = path.split("/")
        for depth, step in enumerate(steps):
            above = "/".join(steps[:depth])
            groups.setdefault((above, _upper(step)), set()).add("/".join(steps[: depth + 1]))
    return tuple(sorted(tuple(sorted(group)) for group in groups.values() if len(group) > 1))


def _upper(name: str) -> str:
    """Return `name` in capitals as FAT compares names. A letter whose capital is not one letter stays as it is."""
    return "".join(upper if len(upper := c.upper()) == 1 else c for c in name)


# -- folder names from any text ---------------------------------------------------------------------

_RESERVED = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9\u00b9\u00b2\u00b3]")


def safe_name(text: str, longest: int = 60) -> str:
    """Return a folder name for any text that FAT and Linux can hold, at most `longest` (>= 16) bytes of UTF-8.

    "Fern Hollow Mobile Library" gives "fern-hollow-mobile-library". Letters of every script stay. Capitals become
    small letters, and a run of spaces and hyphens becomes one hyphen. Where anything else is lost, four hex digits of
    the SHA-256 of the folded text follow, so that "A/B" and "A-B" stay two customers, and so do "Strauß" and "Strauss".
    No two names are equal under full case folding, by which ext4 compares them where it ignores case (the kernel's
    admin-guide/ext4): FAT keeps "ß" and "ss" apart, not every share does.
    """
    folded = _folded(text)
    name = unicodedata.normalize("NFC", "".join(map(_kept, _caseless(folded))))
    name = re.sub("-+", "-", name).strip("-")
    whole = name == folded and len(name.encode()) <= longest and not _RESERVED.fullmatch(name)
    return name if whole and name else _with_digest(name or "unnamed", folded, longest)


def _folded(text: str) -> str:
    """Return `text` in small letters and composed, spaces and hyphens as one hyphen.

    Each letter is folded to one letter (Unicode's simple case folding), so "ß" does not become "ss".
    """
    small = unicodedata.normalize("NFC", "".join(map(_small, unicodedata.normalize("NFD", text))))
    return re.sub(r"[\s-]+", "-", small).strip("-")


def _caseless(text: str) -> str:
    """Return Unicode's canonical caseless form of `text`, with full case folding: "ß" becomes "ss"."""
    return unicodedata.normalize("NFD", text).casefold()


def _small(character: str) -> str:
    """Return the letter that simple case folding gives (CaseFolding.txt, statuses C and S)."""
    return next((small for small in (character.casefold(), character.lower()) if len(small) == 1), character)


def _kept(character: str) -> str:
    kind = unicodedata.category(character)
    if kind[0] in "LMN" or character in "-_":
        return character
    return "" if kind == "Cf" else "-"  # joiners inside a word do not split it


def _with_digest(name: str, folded: str, longest: int) -> str:
    digest = hashlib.sha256(folded.encode("utf-8", "surrogatepass")).hexdigest()[:4]
    short = name.encode()[: longest - 5].decode("utf-8", "ignore").rstrip("-")
    return f"{short}-{digest}"
