"""The errors of a manifest in the artist's words."""

from __future__ import annotations

import difflib
import re
from typing import get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from keyturn.manifest.drawn_frames import Crossfade, Glide, Pan, Sprite
from keyturn.manifest.models import FILE_NAME, LogoTable, Manifest, Motion, Part
from keyturn.shop.reasons import Reason, refuse


def merged(problems: list[ErrorDetails]) -> list[ErrorDetails]:
    """One problem a field: a union reports each of its members, and the first says enough."""
    seen: dict[tuple[str, ...], ErrorDetails] = {}
    for problem in problems:
        seen.setdefault(_place(problem), problem)
    return list(seen.values())


_UNION_STEPS = re.compile(r"constrained-|literal\[|function-|int$|str$|float$|nullable|lax-or-strict")


def _place(problem: ErrorDetails) -> tuple[str, ...]:
    """The field as the artist wrote it: list positions from 1, without pydantic's union steps."""
    steps: list[str] = []
    for step in problem["loc"]:
        if isinstance(step, int):
            steps.append(str(step + 1))
        elif not _UNION_STEPS.match(step) or not steps:
            steps.append(step)
    return tuple(steps)


def explained(problem: ErrorDetails) -> Reason:
    place = _place(problem)
    field = ".".join(place)
    if problem["type"] == "extra_forbidden":
        return refuse(
            "manifest-key-unknown",
            f'there is no key "{place[-1]}"',
            _near_miss(place),
            file=FILE_NAME,
            field=field,
        )
    if problem["type"] == "missing" and not place[-1].isdigit():
        return refuse("manifest-key-missing", "is missing", f'add {place[-1]} = "..."', file=FILE_NAME, field=field)
    what = "has too few numbers" if problem["type"] == "missing" else problem["msg"].removeprefix("Value error, ")
    given = problem.get("input")
    shown = f" (given: {str(given)[:80]!r})" if isinstance(given, str | int | float | bool) else ""
    return refuse("manifest-value", f"{what}{shown}", _described(place), file=FILE_NAME, field=field)


_TABLES: dict[str, tuple[str, type[BaseModel]]] = {
    "": ("the top of the file", Manifest),
    "motion": ("[motion]", Motion),
    "part": ("[part]", Part),
    "logo": ("[logo]", LogoTable),
    "glide": ("[part.glide]", Glide),
    "sprite": ("[part.glide.sprite]", Sprite),
    "pan": ("[part.pan]", Pan),
    "crossfade": ("[part.crossfade]", Crossfade),
}


def _table_at(place: tuple[str, ...]) -> type[BaseModel]:
    """The table in which the last step of `place` is a key."""
    around = next((step for step in reversed(place[:-1]) if step in _TABLES), "")
    return _TABLES[around][1]


def _keys(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def _near_miss(place: tuple[str, ...]) -> str:
    known = _keys(_table_at(place))
    near = difflib.get_close_matches(place[-1].lower(), known, n=1, cutoff=0.6)
    if near:
        return f'did you mean "{near[0]}"?'
    elsewhere = [where for where, table in _TABLES.values() if place[-1] in _keys(table)]
    if elsewhere:
        return f'"{place[-1]}" belongs in {elsewhere[0]}'
    return f"take it out; the keys known here: {', '.join(known)}"


def _described(place: tuple[str, ...]) -> str:
    name = next((step for step in reversed(place) if not step.isdigit()), "")
    fields = _table_at(place[: place.index(name) + 1]).model_fields
    info = next((field for key, field in fields.items() if name == (field.alias or key)), None)
    if info is None:
        return "write it as the artist's chapter of the README shows"
    choices = [c for c in get_args(info.annotation) if isinstance(c, str)]
    return " ".join(filter(None, [info.description, f"One of: {', '.join(choices)}." if choices else None]))
