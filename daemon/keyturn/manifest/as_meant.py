"""The tables of a manifest with keys and values as they are meant, where they have one plain meaning.

`Rush = "yes"` is `rush = true`. What is right already is left alone; what has no plain meaning is left for the models
to refuse.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from PIL import ImageColor
from pydantic import AfterValidator, BaseModel

from keyturn.manifest.values import hex_colour, inside_the_drop, lines_of_text, one_line
from keyturn.shop.folding import ZERO_WIDTH, folded, plain_spaces
from keyturn.shop.language_codes import LANGUAGES, language_named
from keyturn.shop.reasons import Reason, mended

_TRUE, _FALSE = {"true", "yes", "on", "ja", "oui", "si", "1"}, {"false", "no", "off", "nein", "non", "0"}
_UNTIL_BOOTED = {"forever", "endless", "endlessly", "loop", "infinite", "always", "untilboot", "untilthebootends"}
_CENTRE = {"center", "middle", "centered", "centred"}
_NUMBER = re.compile(r"[+-]?(?![1-9]\d{0,2},\d{3}$)\d{1,9}(?:[.,]\d{1,9})?")
"""A number with a point or a decimal comma; 1,000 may be a thousand or one."""
MOST_TOLD = 50
"""Of one manifest, so many mended keys and values are listed."""

_HEX = re.compile(r"#?(?:[0-9a-fA-F]{3}){1,2}")
FIRST_FRAME = "first-frame"
_ESCAPED = dict(zip(map(ord, "\b\t\n\f\r"), ("/b", "/t", "/n", "/f", "/r"), strict=True))
"""What TOML makes of the back slash of a Windows path and the letter after it (TOML 1.0, "String")."""


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What a field takes: kinds of text, numbers, words to choose from, a table, or a list of `items`.

    `length` is that of a list with as many items as numbers are wanted, else 0. `signed`: it may be below 0.
    """

    kinds: frozenset[str]
    choices: tuple[str, ...] = ()
    table: type[BaseModel] | None = None
    items: _Wanted | None = None
    length: int = 0
    signed: bool = False


def as_meant(table: dict[str, Any], model: type[BaseModel], file: str) -> tuple[dict[str, Any], list[Reason]]:
    """Return a copy of `table` as `model` wants it, and a reason for each key and value that was mended."""
    reasons: list[Reason] = []
    return _table(table, model, (), _Told(file, reasons)), reasons


@dataclass(frozen=True, slots=True)
class _Told:
    file: str
    reasons: list[Reason]

    def mended(self, place: tuple[str, ...], before: str, after: str) -> None:
        if len(self.reasons) < MOST_TOLD:
            what = f"{before} was read as {after}"
            self.reasons.append(mended("manifest-mended", what, file=self.file, field=".".join(place)))


def _table(table: dict[str, Any], model: type[BaseModel], place: tuple[str, ...], told: _Told) -> dict[str, Any]:
    wanted = _fields(model)
    by_folded = {folded(key): key for key in wanted}
    made: dict[str, Any] = {}
    for written, value in table.items():
        key = by_folded.get(folded(written), written)
        if key != written and (key in table or key in made):
            key = written
        if key != written:
            told.mended((*place, key), f"the key {written[:80]}", key)
        made[key] = _value(value, wanted[key], (*place, key), told) if key in wanted else value
    return made


def _value(value: object, wanted: _Wanted, place: tuple[str, ...], told: _Told) -> object:
    if isinstance(value, dict):
        return _table(value, wanted.table, place, told) if wanted.table and not wanted.items else value
    if isinstance(value, list):
        return _list(value, wanted, place, told)
    if isinstance(value, str) and wanted.items and not wanted.kinds:  # a list's short form: one radio, one sprite
        wanted = _short_form(wanted.items.table) if wanted.items.table else wanted.items
    if isinstance(value, str) and wanted.table and "art" in _fields(wanted.table):  # logo = "logo.png"
        told.mended(place, toml(value), f"art = {toml(value)} under [{'.'.join(place)}]")
        return _table({"art": value}, wanted.table, place, told)
    if isinstance(value, str) and wanted.table and "colour" in _fields(wanted.table):  # outline = "black"
        wanted = _fields(wanted.table)["colour"]
    meant = _meant(value, wanted)
    if type(meant) is not type(value) or meant != value:
        told.mended(place, toml(value), toml(meant))
    return meant


def _short_form(table: type[BaseModel]) -> _Wanted:
    """Return what a table's one word stands for: the picture's name, else the words."""
    fields = _fields(table)
    return fields["art"] if "art" in fields else fields["text"]


def _list(value: list[Any], wanted: _Wanted, place: tuple[str, ...], told: _Told) -> object:
    if wanted.items is None:
        alone = len(value) == 1 and isinstance(value[0], str) and wanted.kinds & {"art", "words"}
        if alone:
            told.mended(place, toml(value), toml(value[0]))
        return _value(value[0], wanted, place, told) if alone else value
    meant = _with_points(value, wanted.length)
    if meant != value:
        told.mended(place, toml(value), toml(meant))
    return [_value(each, wanted.items, (*place, str(n)), told) for n, each in enumerate(meant, 1)]


def _with_points(value: list[Any], length: int) -> list[Any]:
    """Return twice as many whole numbers as are wanted as so many with decimal commas: [0,5,0,4] is [0.5, 0.4].

    `length` is 0 where numbers may be below 0: the sign of -0 is lost.
    """
    if not length or len(value) != 2 * length or not all(type(each) is int for each in value):
        return value
    if any(each < 0 for each in value[1::2]):
        return value
    return [float(f"{whole}.{tenths}") for whole, tenths in zip(value[::2], value[1::2], strict=True)]


# -- single values ----------------------------------------------------------------------------------


def _meant(value: object, wanted: _Wanted) -> object:
    """Return a value that is no list or table as the field wants it; as it is where it has no plain meaning."""
    kinds = wanted.kinds
    if isinstance(value, str):
        return _text_as_meant(value, wanted)
    if type(value) is int and "truth" in kinds and value in (0, 1):
        return bool(value)
    if type(value) in (int, date) and "words" in kinds:
        return str(value)
    if isinstance(value, float) and "whole" in kinds and value.is_integer():
        return int(value)
    return value


def _text_as_meant(value: str, wanted: _Wanted) -> object:
    kinds, choices = wanted.kinds, {folded(choice): choice for choice in wanted.choices}
    word = folded(value)
    if word in choices and "art" not in kinds:
        return choices[word]
    if word in _UNTIL_BOOTED and "until-booted" in wanted.choices:
        return "until-booted"
    if word in _CENTRE and "centre" in wanted.choices:
        return "centre"
    if wanted.choices == LANGUAGES:
        return language_named(value) or value
    if "truth" in kinds and (meant := truth(value)) is not None:
        return meant
    if kinds & {"whole", "number"} and _NUMBER.fullmatch(value.strip()):
        return _number(value.strip().replace(",", "."), value, kinds)
    if "colour" in kinds:
        return _colour(value)
    if "art" in kinds:
        return _art(value)
    return plain_spaces(value).translate(ZERO_WIDTH) if "words" in kinds else value


def truth(word: str) -> bool | None:
    """Return what a word for yes or no means; None where it is neither."""
    if folded(word) in _TRUE:
        return True
    return False if folded(word) in _FALSE else None


def _number(digits: str, value: str, kinds: frozenset[str]) -> object:
    meant = float(digits)
    if meant.is_integer():
        return int(meant)
    return meant if "number" in kinds else value


def _colour(value: str) -> str:
    """Return a name of CSS (Color Module Level 4, 6.1) or a hex colour of 3 digits or without # as #rrggbb."""
    word = value.strip()
    if _HEX.fullmatch(word):
        digits = word.removeprefix("#")
        return "#" + (digits if len(digits) == 6 else "".join(c * 2 for c in digits))
    known = ImageColor.colormap.get(folded(word))
    return known if isinstance(known, str) else value


def _art(value: str) -> str:
    """Return the name or pattern of a file with / between folders, as it stands in the drop."""
    path = re.sub(r"/*\\+", "/", value.strip().translate(_ESCAPED).replace("\u200b", ""))
    return FIRST_FRAME if folded(path) == folded(FIRST_FRAME) else path.removeprefix("./") or value


def toml(value: object) -> str:
    """Return a value on one line as TOML writes it, cut after 80 letters."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value[:20]))}]"[:80]
    text = re.sub(r"[\x00-\x1f]", lambda found: _ESCAPED.get(ord(found[0]), "/").replace("/", "\\"), str(value)[:80])
    return f'"{text}"' if isinstance(value, str) else text


# -- what the models want ---------------------------------------------------------------------------


@cache
def _fields(model: type[BaseModel]) -> dict[str, _Wanted]:
    hints = get_type_hints(model, include_extras=True)
    return {info.alias or name: _wanted(hints[name]) for name, info in model.model_fields.items()}


def _wanted(hint: Any) -> _Wanted:
    if get_origin(hint) is Annotated:
        inner, *notes = get_args(hint)
        kinds = {_BY_CHECK[note.func] for note in notes if isinstance(note, AfterValidator) and note.func in _BY_CHECK}
        found = _wanted(inner)
        bounds = [bound for note in notes for bound in getattr(note, "metadata", ())]
        signed = any(getattr(bound, "ge", 0) < 0 for bound in bounds)
        return replace(found, kinds=found.kinds | kinds, signed=signed)
    if get_origin(hint) in (Union, UnionType):
        return _either([_wanted(each) for each in get_args(hint)])
    if get_origin(hint) is Literal:
        return _Wanted(frozenset(), get_args(hint))
    if get_origin(hint) is tuple:
        steps = get_args(hint)
        items = _wanted(steps[0])
        fixed = steps[-1] is not Ellipsis and "number" in items.kinds and not items.signed
        return _Wanted(frozenset(), items=items, length=len(steps) if fixed else 0)
    if isinstance(hint, type) and issubclass(hint, BaseModel):
        return _Wanted(frozenset(), table=hint)
    kind = {bool: "truth", int: "whole", float: "number"}.get(hint)
    return _Wanted(frozenset([kind] if kind else []))


def _either(every: Iterable[_Wanted]) -> _Wanted:
    every = list(every)
    return _Wanted(
        frozenset().union(*(each.kinds for each in every)),
        tuple(choice for each in every for choice in each.choices),
        next((each.table for each in every if each.table), None),
        next((each.items for each in every if each.items), None),
        next((each.length for each in every if each.length), 0),
    )


_BY_CHECK: dict[Any, str] = {inside_the_drop: "art", one_line: "words", lines_of_text: "words", hex_colour: "colour"}
