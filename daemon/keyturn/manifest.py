"""The manifest of a drop, `job.toml`: what the artist wants, with every default a person would guess.

`read` reports all errors of a manifest at once, each with its field and a mend in the artist's words.
"""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
)
from pydantic_core import ErrorDetails

from keyturn.reasons import Reason, Refused, refuse

FILE_NAME = "job.toml"

_HEX = re.compile(r"#[0-9a-fA-F]{6}")
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u2028\u2029]")


def _one_line(text: str) -> str:
    text = text.strip()
    if not text:
        raise ValueError("must not be empty")
    if _CONTROL.search(text):
        raise ValueError("must be a single line of plain text")
    return text


def _inside(pattern: str) -> str:
    path = PurePosixPath(pattern)
    if path.is_absolute() or ".." in path.parts or "\\" in pattern or "**" in pattern:
        raise ValueError("must name files inside the drop, with / between folders and without .. or **")
    return pattern


def _hex_colour(text: str) -> str:
    if not _HEX.fullmatch(text):
        raise ValueError('must be a colour such as "#0b1d2a"')
    return text.lower()


def _listed(value: object) -> object:
    return [value] if isinstance(value, str) else value


Words = Annotated[str, Field(max_length=200), AfterValidator(_one_line)]
Art = Annotated[str, Field(min_length=1, max_length=300), AfterValidator(_inside)]
Colour = Annotated[str, AfterValidator(_hex_colour)]
Share = Annotated[float, Field(ge=0, le=1)]
Plays = Annotated[int, Field(ge=1, le=10_000)] | Literal["until-booted"]


class Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class LogoTable(Table):
    art: Annotated[
        Art | None,
        Field(description='The boot logo: a picture of the drop, or "first-frame". Default: logo.* or frame 1.'),
    ] = None


class Motion(Table):
    fps: Annotated[
        Annotated[int, Field(ge=1, le=60)] | Literal["auto"],
        Field(description='Frames a second, or "auto": as slow as finishes in time.'),
    ] = "auto"
    finish: Annotated[
        float,
        Field(gt=0, le=1, description="Share of starts in which the parts that play once must finish."),
    ] = 0.95
    thin: Annotated[
        bool,
        Field(description="May frames be left out, evenly, where the radio cannot play them all in time?"),
    ] = False


class Part(Table):
    art: Annotated[
        Art,
        Field(description='Pictures of this part: "lamps/*.png", one picture, or a GIF, APNG or WebP clip.'),
    ]
    plays: Annotated[Plays, Field(description='How often it runs: a number or "until-booted".')] = 1
    pause: Annotated[float, Field(ge=0, le=60, description="Seconds of rest after each play.")] = 0.0
    hold_screen: Annotated[
        Words | None,
        Field(
            description="Why this part may keep the screen after the radio has booted. Leave it out: "
            "a part with it delays the home screen and the reversing camera."
        ),
    ] = None


class Manifest(Table):
    """What `job.toml` says. Field order is the order of the work."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, title="Keyturn job manifest")

    customer: Annotated[Words, Field(description="Whose radio this is; one proof sheet a customer.")]
    radio: Annotated[
        tuple[Words, ...],
        BeforeValidator(_listed),
        Field(strict=False, min_length=1, max_length=12, description="One radio or a list of radios."),
    ]
    job: Annotated[Words | None, Field(description="Name of the job. Default: the folder's name.")] = None
    artist: Annotated[Words | None, Field(description="Who drew it.")] = None
    rush: Annotated[bool, Field(description="Goes before the other waiting drops.")] = False
    background: Annotated[Colour, Field(description="What transparency is laid on.")] = "#000000"
    fit: Annotated[
        Literal["cover", "contain"],
        Field(description="cover fills the panel and crops; contain shows all and leaves margins."),
    ] = "cover"
    focus: Annotated[
        tuple[Share, Share],
        Field(strict=False, description="What cover keeps: shares of width and height from the top left."),
    ] = (0.5, 0.5)
    logo: LogoTable = LogoTable()
    motion: Motion = Motion()
    part: Annotated[tuple[Part, ...], Field(strict=False, max_length=60)] = ()

    @field_validator("radio")
    @classmethod
    def _no_radio_twice(cls, radios: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(radios)) < len(radios):
            raise ValueError("names a radio twice")
        return radios

    @property
    def ground(self) -> tuple[int, int, int]:
        """The background as 8-bit sRGB."""
        red, green, blue = bytes.fromhex(self.background[1:])
        return red, green, blue


def schema() -> dict[str, Any]:
    """The JSON Schema of job.toml, for editors."""
    return Manifest.model_json_schema()


def schema_text() -> str:
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


def read(folder: Path, *, max_kib: float = 256) -> Manifest:
    """The manifest of the drop in `folder`. Raises `Refused` with every error found."""
    return parse(_bytes(folder, max_kib))


def _bytes(folder: Path, max_kib: float) -> bytes:
    path = folder / FILE_NAME
    try:
        with path.open("rb") as file:
            data = file.read(int(max_kib * 1024) + 1)
    except (FileNotFoundError, IsADirectoryError):
        raise Refused([_missing(folder)]) from None
    if len(data) > max_kib * 1024:
        raise _unreadable(f"is larger than {max_kib:g} KiB", "a manifest is a few lines of text")
    return data


def _missing(folder: Path) -> Reason:
    names = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []
    near = [n for n in names if n.lower() in ("job.toml.txt", "job.txt", "jobs.toml", "job.tml", "job.toml")]
    hint = f"rename {near[0]} to {FILE_NAME}" if near else f"add a {FILE_NAME} with at least customer and radio"
    return refuse("manifest-missing", f"the drop has no {FILE_NAME}", hint, file=near[0] if near else None)


def _unreadable(what: str, mend: str) -> Refused:
    return Refused([refuse("manifest-unreadable", what, mend, file=FILE_NAME)])


def parse(data: bytes) -> Manifest:
    """A manifest from the bytes of its file; a byte-order mark is forgiven. Raises `Refused`."""
    manifest, reasons = parse_leniently(data)
    if manifest is None or reasons:
        raise Refused(reasons)
    return manifest


def read_leniently(folder: Path, *, max_kib: float = 256) -> tuple[Manifest | None, tuple[Reason, ...]]:
    """As `read`, but gives what can be understood beside the errors, so that the art can be looked at
    too and the artist hears of everything at once. None where nothing could be understood."""
    try:
        data = _bytes(folder, max_kib)
    except Refused as refused:
        return None, refused.reasons
    return parse_leniently(data)


def parse_leniently(data: bytes) -> tuple[Manifest | None, tuple[Reason, ...]]:
    try:
        table = _table(data)
        return Manifest.model_validate(table), ()
    except Refused as refused:
        return None, refused.reasons
    except ValidationError as error:
        problems = error.errors()
    reasons = tuple(_explained(problem) for problem in _merged(problems))
    for problem in problems:
        _take_out(table, problem["loc"])
    try:
        return Manifest.model_validate(table), reasons
    except ValidationError:
        return None, reasons


def _table(data: bytes) -> dict[str, Any]:
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise _unreadable(f"is not UTF-8 text (byte {error.start})", "save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise _unreadable(f"is not valid TOML: {error}", 'write values as in radio = "tall-768x1024"') from None
    except RecursionError:
        raise _unreadable("is nested too deeply", "a manifest needs no nesting") from None


def _take_out(table: Any, loc: tuple[int | str, ...]) -> None:
    """Removes the field a problem is about, so that its default stands in for it."""
    for step, following in pairwise(loc):
        inner = table.get(step) if isinstance(table, dict) else None
        if isinstance(table, list) and isinstance(step, int) and step < len(table):
            inner = table[step]
        if not isinstance(inner, dict | list) or isinstance(following, int) != isinstance(inner, list):
            loc = (step,)
            break
        table = inner
    else:
        loc = loc[-1:]
    if isinstance(table, dict):
        table.pop(loc[0], None)


def _merged(problems: list[ErrorDetails]) -> list[ErrorDetails]:
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


def _explained(problem: ErrorDetails) -> Reason:
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
    if problem["type"] == "missing":
        return refuse("manifest-key-missing", "is missing", f'add {place[-1]} = "..."', file=FILE_NAME, field=field)
    what = problem["msg"].removeprefix("Value error, ")
    given = problem.get("input")
    shown = f" (given: {str(given)[:80]!r})" if isinstance(given, str | int | float | bool) else ""
    return refuse("manifest-value", f"{what}{shown}", _described(place), file=FILE_NAME, field=field)


def _table_at(place: tuple[str, ...]) -> type[BaseModel]:
    tables: dict[str, type[BaseModel]] = {"logo": LogoTable, "motion": Motion, "part": Part}
    return tables.get(place[0], Manifest) if len(place) > 1 else Manifest


def _near_miss(place: tuple[str, ...]) -> str:
    known = list(_table_at(place).model_fields)
    near = difflib.get_close_matches(place[-1].lower(), known, n=1, cutoff=0.6)
    if near:
        return f'did you mean "{near[0]}"?'
    elsewhere = [
        f"[{name}]"
        for name, table in (("motion", Motion), ("part", Part), ("logo", LogoTable), ("", Manifest))
        if place[-1] in table.model_fields
    ]
    if elsewhere:
        where = elsewhere[0] if elsewhere[0] != "[]" else "the top of the file"
        return f'"{place[-1]}" belongs in {where}'
    return f"take it out; the keys known here: {', '.join(known)}"


def _described(place: tuple[str, ...]) -> str:
    info = _table_at(place).model_fields.get(next((s for s in reversed(place) if not s.isdigit()), ""))
    if info is None:
        return "write it as the artist's chapter of the README shows"
    choices = [c for c in get_args(info.annotation) if isinstance(c, str)]
    return " ".join(filter(None, [info.description, f"One of: {', '.join(choices)}." if choices else None]))


if __name__ == "__main__":
    Path(__file__).with_name("job.schema.json").write_text(schema_text(), encoding="utf-8")
