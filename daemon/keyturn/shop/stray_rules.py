"""Files in a shop's rules folder that are not read: a backup of an editor, a name that is not quite right."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from pathlib import Path

from keyturn.shop.rulebook import SHIPPED


def stray_rules(shop_rules: Path) -> Iterator[tuple[Path, str]]:
    """Yield each file and folder that no rules are read from, with what to do about it."""
    known = sorted(path.name for path in SHIPPED.iterdir())
    for path in _entries(shop_rules):
        if path.name not in known:
            yield path, _what_to_do(path, known)
    for path in _entries(shop_rules / "radios"):
        if path.suffix != ".toml":
            yield path, f"remove it, or call it {path.name.partition('.')[0] or 'name'}.toml if it is to be read"


def _what_to_do(path: Path, known: list[str]) -> str:
    near = difflib.get_close_matches(path.name, known, n=1, cutoff=0.8)
    if near:
        return f"remove it, or call it {near[0]} if it is to be read"
    return f"remove it; read are {', '.join(known)}, and a radio's profile belongs in radios"


def _entries(folder: Path) -> list[Path]:
    return sorted(folder.iterdir()) if folder.is_dir() else []
