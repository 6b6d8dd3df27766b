"""Say what is wrong with a manifest, and how to mend it, in the artist's words."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from typing import get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from keyturn.manifest.drawn_frames import Crossfade, Glide, Pan, Sprite
from keyturn.manifest.models import FILE_NAME, LogoTable, Manifest, Motion, Part
from keyturn.shop.reasons import Reason, refuse

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
"""Each table by its key: how the artist writes it, and its model."""

_UNION_STEPS = re.compile(r"constrained-|literal\[|function-|int$|str$|float$|nullable|lax-or-strict")
"""Steps that pydantic adds to the place of an error to name a member of a union."""


def reasons_for(errors: Sequence[ErrorDetails]) -> tuple[Reason, ...]:
    """Return one reason for each field that pydantic complains of.

    pydantic reports each member of a union by itself; the first one is kept.
    """
    first: dict[tuple[str, ...], ErrorDetails] = {}
    for error in errors:
        first.setdefault(_place(error), error)
    return tuple(_reason(place, error) for place, error in first.items())


def _place(error: ErrorDetails) -> tuple[str, ...]:
    """Return the keys that lead to the field, as the artist wrote them. Positions in a list count from 1."""
    steps: list[str] = []
    for step in error["loc"]:
        if isinstance(step, int):
            steps.append(str(step + 1))
        elif not _UNION_STEPS.match(step) or not steps:
            steps.append(step)
    return tuple(steps)


def _reason(place: tuple[str, ...], error: ErrorDetails) -> Reason:
    key, field = place[-1], ".".join(place)
    if error["type"] == "extra_forbidden":
        what = f'there is no key "{key}"'
        return refuse("manifest-key-unknown", what, _instead_of(place), file=FILE_NAME, field=field)
    if error["type"] == "missing" and not key.isdigit():
        return refuse("manifest-key-missing", "is missing", f'add {key} = "..."', file=FILE_NAME, field=field)
    return refuse("manifest-value", _wrong_value(error), _allowed_at(place), file=FILE_NAME, field=field)


def _wrong_value(error: ErrorDetails) -> str:
    """Return what is wrong with a value, and the value itself, cut after 80 letters."""
    what = "has too few numbers" if error["type"] == "missing" else error["msg"].removeprefix("Value error, ")
    value = error.get("input")
    return f"{what} (given: {str(value)[:80]!r})" if isinstance(value, str | int | float | bool) else what


def _table_of(place: tuple[str, ...]) -> type[BaseModel]:
    """Return the model of the table in which the last step of `place` is a key."""
    table = next((step for step in reversed(place[:-1]) if step in _TABLES), "")
    return _TABLES[table][1]


def _keys(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def _instead_of(place: tuple[str, ...]) -> str:
    """Say what to write in place of an unknown key: a similar one, or the same in another table."""
    key, known = place[-1], _keys(_table_of(place))
    similar = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
    if similar:
        return f'did you mean "{similar[0]}"?'
    elsewhere = [written for written, table in _TABLES.values() if key in _keys(table)]
    if elsewhere:
        return f'"{key}" belongs in {elsewhere[0]}'
    return f"take it out; the keys known here: {', '.join(known)}"


def _allowed_at(place: tuple[str, ...]) -> str:
    """Return the field's description, with its choices where it has some."""
    name = next((step for step in reversed(place) if not step.isdigit()), "")
    fields = _table_of(place[: place.index(name) + 1]).model_fields
    info = next((field for key, field in fields.items() if name == (field.alias or key)), None)
    if info is None:
        return "write it as the artist's chapter of the README shows"
    choices = [choice for choice in get_args(info.annotation) if isinstance(choice, str)]
    return " ".join(filter(None, [info.description, f"One of: {', '.join(choices)}." if choices else None]))
