"""Which file of a drop is its manifest: job.toml, or the one file that an editor or a browser called otherwise."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path

from keyturn.manifest.models import FILE_NAME

_COPY = r"(?:[ _-]*(?:\(\d+\)|\d+|-? ?(?:copy|kopie|copie|copia)(?: ?\(?\d+\)?)?))?"
_NAMED_TOML = re.compile(rf"(?:copy of )?job{_COPY}\.(?:toml|tml){_COPY}(?:\.(?:toml|txt|text))*")
"""`job (1).toml`, `job.toml.txt`, `job.toml.toml`: common practice of browsers and editors, no source."""

_SAVED_OTHERWISE = re.compile(r"job(?:\.toml)?\.(?:txt|text|rtf|docx?|odt|html?|pages)")
"""Taken only where no other name is like a manifest's; the contents say whether it is one."""


def candidates(names: Iterable[str]) -> tuple[str, ...]:
    """Return which of the names in one folder may be its manifest, sorted: one is taken, several are asked about."""
    every = sorted(name for name in names if not name.startswith((".", "~")))
    if FILE_NAME in every:
        return (FILE_NAME,)
    toml = [name for name in every if is_manifest_name(name)]
    named = [name for name in toml if _NAMED_TOML.fullmatch(_folded(name))]
    only_case = [name for name in named if _folded(name) == FILE_NAME]
    saved_otherwise = [name for name in every if _SAVED_OTHERWISE.fullmatch(_folded(name))]
    return tuple(next(filter(None, (only_case, named, toml, saved_otherwise)), ()))


def is_manifest_name(name: str) -> bool:
    """Tell whether a file of this name is looked into as a manifest where there is no job.toml."""
    folded = _folded(name)
    return not name.startswith((".", "~")) and (folded.endswith(".toml") or bool(_NAMED_TOML.fullmatch(folded)))


def beside(folder: Path) -> tuple[str, ...]:
    """Return the files beside job.toml that are called like it, as `job (1).toml` is, which a browser saved later."""
    names = (path.name for path in folder.iterdir() if not path.is_dir())
    return tuple(sorted(name for name in names if name != FILE_NAME and _NAMED_TOML.fullmatch(_folded(name))))


def in_folder(folder: Path) -> tuple[str, ...]:
    """Return the `candidates` among the entries of `folder` that are no folders; none where it cannot be listed."""
    try:
        return candidates(path.name for path in folder.iterdir() if path.is_symlink() or not path.is_dir())
    except (FileNotFoundError, NotADirectoryError):
        return ()


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold().strip()
