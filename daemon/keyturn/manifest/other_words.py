"""The two facts of a manifest, customer and radio, in a text file that says them in other words."""

from __future__ import annotations

import json
import re
from collections.abc import Collection
from pathlib import Path

from keyturn.manifest import file_text
from keyturn.shop.folding import folded
from keyturn.shop.reasons import Refused

_TEXTS = frozenset(["", ".txt", ".text", ".md", ".json", ".yaml", ".yml", ".ini", ".cfg", ".csv", ".nfo"])
_MOST_FILES, _MOST_BYTES = 20, 32 * 1024
_KEYTURNS_OWN = re.compile(r"(REJECTED|MENDED)\.\w+|job\.schema\.json")

_VALUE = r"""["']?[ \t]*(?:[:=,\t]|[-–—][ \t]|\bis\b|\bist\b)[ \t]*["'“„«]?([^\n"”“»,;|]+)"""
_CUSTOMER = re.compile(r"\b(?:customer|client|owner|kundin|kunde|cliente|klant|kund)(?:'s)?(?: name)?" + _VALUE, re.I)
_RADIO = re.compile(r"\b(?:radio|head ?unit|unit|panel|screen|device|model|autoradio|gerät)(?: name)?" + _VALUE, re.I)
_SIZE = re.compile(r"(\d{3,4})\s*[x×*]\s*(\d{3,4})", re.I)


def two_lines(folder: Path, radios: Collection[str]) -> tuple[str, str] | None:
    """Return the first text file of `folder` that tells customer and radio, and the two lines to paste; else None."""
    for path in sorted(folder.iterdir())[:500] if folder.is_dir() else ():
        if (
            path.suffix.lower() in _TEXTS
            and not _KEYTURNS_OWN.fullmatch(path.name)
            and (found := in_file(path, radios))
        ):
            return path.name, found
    return None


def in_file(path: Path, radios: Collection[str]) -> str | None:
    """Return the two lines of job.toml that a text file says in other words; None where it says none."""
    if path.is_symlink() or not path.is_file() or path.stat().st_size > _MOST_BYTES:
        return None
    try:
        text, _ = file_text.decoded(path.read_bytes(), path.name)
    except Refused:
        return None
    return lines_from(text, radios)


def lines_from(text: str, radios: Collection[str]) -> str | None:
    """Return the two lines of job.toml that say what `text` says; None where it does not say both."""
    customer, radio = _CUSTOMER.search(text), _radio(text, radios)
    whose = customer[1].strip(" .\t") if customer else ""
    return f"customer = {_toml(whose)}\nradio = {_toml(radio)}" if whose and radio else None


def _radio(text: str, radios: Collection[str]) -> str | None:
    """Return the one radio that `text` names, or the one of a size in it; what it calls a radio if none is known."""
    if not radios:
        found = _RADIO.search(text)
        return found[1].strip(" .\t") if found else None
    named = [name for name in radios if folded(name) in folded(text)]
    if len(named) == 1:
        return named[0]
    sizes = {f"{width}x{height}" for width, height in _SIZE.findall(text)}
    of_size = [name for name in radios if any(size in folded(name) for size in sizes)]
    return of_size[0] if len(of_size) == 1 else None


def _toml(text: str) -> str:
    return json.dumps(text[:200], ensure_ascii=False)
