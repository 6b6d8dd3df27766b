"""Say what is wrong with a manifest, and how to mend it, in the artist's words."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from typing import get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from keyturn.manifest.as_meant import toml
from keyturn.manifest.drawn_frames import Crossfade, Glide, Pan, Sprite
from keyturn.manifest.lettering import LogoText, Outline, Shadow
from keyturn.manifest.models import FILE_NAME, LogoTable, Manifest, Motion, Part
from keyturn.shop.folding import folded
from keyturn.shop.reasons import Reason, refuse

TABLES: dict[str, tuple[str, type[BaseModel]]] = {
    "": ("the top of the file", Manifest),
    "motion": ("[motion]", Motion),
    "part": ("[part]", Part),
    "logo": ("[logo]", LogoTable),
    "glide": ("[part.glide]", Glide),
    "sprite": ("[part.glide.sprite]", Sprite),
    "pan": ("[part.pan]", Pan),
    "crossfade": ("[part.crossfade]", Crossfade),
    "text": ("[logo.text]", LogoText),
    "outline": ("outline", Outline),
    "shadow": ("shadow", Shadow),
}
"""Each table by its key: how the artist writes it, and its model."""

KEYS = frozenset(
    folded(field.alias or name) for _, table in TABLES.values() for name, field in table.model_fields.items()
)
"""All keys of all tables, as `folded` compares them."""

SEVERAL = frozenset(["part", "sprite", "text"])
"""Tables of which there may be several: in two brackets."""

_WRONG = {
    "string_type": "must be words in quotes",
    "string_too_short": "must not be empty",
    "string_too_long": "is longer than {max_length} letters",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number",
    "bool_type": "must be true or false",
    "tuple_type": "must be a list in brackets",
    "model_type": "must be a table with keys of its own",
    "model_attributes_type": "must be a table with keys of its own",
    "literal_error": "is none of the words it may be",
    "greater_than": "must be more than {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be less than {lt:g}",
    "less_than_equal": "must be at most {le:g}",
    "finite_number": "must be a number",
    "too_short": "has too few entries: at least {min_length}",
    "too_long": "has too many entries: at most {max_length}",
    "missing": "has too few numbers",
}
"""What pydantic's kinds of errors mean, in the artist's words."""

_UNION_STEPS = re.compile(r"constrained-|literal\[|function-|int$|str$|float$|nullable|lax-or-strict")
"""Steps that pydantic adds to the place of an error to name a member of a union."""


def reasons_for(errors: Sequence[ErrorDetails], file: str = FILE_NAME) -> tuple[Reason, ...]:
    """Return one reason for each field of the manifest `file` that pydantic complains of.

    pydantic reports each member of a union by itself; the first one is kept.
    """
    first: dict[tuple[str, ...], ErrorDetails] = {}
    for error in errors:
        first.setdefault(_place(error), error)
    written = [(place, _similar(place)) for place, error in first.items() if error["type"] == "extra_forbidden"]
    meant = {(*place[:-1], similar) for place, similar in written if similar}
    return tuple(
        _reason(place, error, file)
        for place, error in first.items()
        if error["type"] != "missing" or place not in meant  # a misspelt key is one fault
    )


def _place(error: ErrorDetails) -> tuple[str, ...]:
    """Return the keys that lead to the field, as the artist wrote them. Positions in a list count from 1."""
    steps: list[str] = []
    for step in error["loc"]:
        if isinstance(step, int):
            steps.append(str(step + 1))
        elif not _UNION_STEPS.match(step) or not steps:
            steps.append(step)
    return tuple(steps)


def _reason(place: tuple[str, ...], error: ErrorDetails, file: str) -> Reason:
    key, field = place[-1], ".".join(place)
    if error["type"] == "extra_forbidden":
        what = f'there is no key "{key[:80]}"'
        return refuse("manifest-key-unknown", what, _instead_of(place), file=file, field=field[:200])
    if error["type"] == "missing" and not key.isdigit():
        return refuse("manifest-key-missing", "is missing", f'add {key} = "..."', file=file, field=field)
    what, mend = _brackets(place, error) or (_wrong_value(error), _allowed_at(place))
    return refuse("manifest-value", what, mend, file=file, field=field)


def _brackets(place: tuple[str, ...], error: ErrorDetails) -> tuple[str, str] | None:
    """Return what to say of [part] where [[part]] is wanted, or the other way round; None where it is neither."""
    key, value = place[-1], error.get("input")
    if key not in TABLES:
        return None
    name = TABLES[key][0].strip("[]")
    if error["type"] == "tuple_type" and isinstance(value, dict):
        return f"stands in one pair of brackets, as [{name}]", f"write [[{name}]], with two brackets"
    if isinstance(value, list) and error["type"] in ("model_type", "dict_type") and key not in SEVERAL:
        return f"stands in two pairs of brackets, as [[{name}]]", f"write [{name}], with one bracket"
    return None


def _wrong_value(error: ErrorDetails) -> str:
    """Return what is wrong with a value, and the value itself, cut after 80 letters."""
    what = _WRONG.get(error["type"], "is not understood").format(**error.get("ctx", {}))
    if error["type"] == "value_error":
        what = error["msg"].removeprefix("Value error, ")
    value = error.get("input")
    return f"{what} (given: {toml(value)})" if isinstance(value, str | int | float | bool) else what


def _table_of(place: tuple[str, ...]) -> type[BaseModel]:
    """Return the model of the table in which the last step of `place` is a key."""
    table = next((step for step in reversed(place[:-1]) if step in TABLES), "")
    return TABLES[table][1]


def _similar(place: tuple[str, ...]) -> str | None:
    """Return the key that an unknown one is most like, None where it is like none."""
    known = _keys(_table_of(place))
    return next(iter(difflib.get_close_matches(place[-1].lower(), known, n=1, cutoff=0.6)), None)


def _keys(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def _instead_of(place: tuple[str, ...]) -> str:
    """Say what to write in place of an unknown key: a similar one, or the same in another table."""
    key, known = place[-1], _keys(_table_of(place))
    if similar := _similar(place):
        return f'did you mean "{similar}"?'
    elsewhere = [written for written, table in TABLES.values() if key in _keys(table)]
    if elsewhere:
        return f'"{key}" belongs in {elsewhere[0]}'
    return f"take it out; the keys known here: {', '.join(known)}"


def _allowed_at(place: tuple[str, ...]) -> str:
    """Say what to write: one of its words, or as in its default, and what the field is for."""
    name = next((step for step in reversed(place) if not step.isdigit()), "")
    fields = _table_of(place[: place.index(name) + 1]).model_fields
    info = next((field for key, field in fields.items() if name == (field.alias or key)), None)
    if info is None or not info.description:
        return "write it as the artist's chapter of the README shows"
    aim = purpose(info.description)
    choices = [choice for choice in get_args(info.annotation) if isinstance(choice, str)]
    if choices:
        return f"write one of: {', '.join(choices)} ({aim})"
    as_is = list(info.default) if isinstance(info.default, tuple) and info.default else info.default
    if isinstance(as_is, bool | int | float | str | list) and not info.is_required():
        return f"write it as in {name} = {toml(as_is)} ({aim})"
    return f"write what it takes: {aim}"


def purpose(description: str) -> str:
    """Return a field's description as the end of a sentence."""
    aim = description.rstrip(".").replace(". ", "; ")
    return aim[0].lower() + aim[1:]
