"""The manifest of a drop, `job.toml`: what the artist wants, with every default a person would guess.

`read` reports all errors of a manifest at once, each with its field and a mend in the artist's words.
"""

from __future__ import annotations

import difflib
import json
import re
import stat
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, field_validator, model_validator
from pydantic_core import ErrorDetails

from keyturn.manifest.drawn_frames import Crossfade, Glide, Pan, Sprite
from keyturn.manifest.values import Art, Colour, Share, Table, Words, rgb
from keyturn.shop.reasons import Reason, Refused, refuse

FILE_NAME = "job.toml"


def _listed(value: object) -> object:
    return [value] if isinstance(value, str) else value


Plays = Annotated[int, Field(ge=1, le=10_000)] | Literal["until-booted"]


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
        Art | None,
        Field(description='Pictures of this part: "lamps/*.png", one picture, or a clip: a GIF, APNG, WebP or a film.'),
    ] = None
    glide: Annotated[Glide | None, Field(description="In place of art: pictures or words that glide.")] = None
    plays: Annotated[Plays, Field(description='How often it runs: a number or "until-booted".')] = 1
    pause: Annotated[float, Field(ge=0, le=60, description="Seconds of rest after each play.")] = 0.0
    start: Annotated[float | None, Field(ge=0, le=36_000, description="Of a clip: where it begins, in seconds.")] = None
    stop: Annotated[
        float | None, Field(gt=0, le=36_000, description="Of a clip: where it ends, in seconds from its own beginning.")
    ] = None
    backdrop: Annotated[
        Art | None,
        Field(description="A still that lies behind every picture of this part; see-through areas show it."),
    ] = None
    reverse: Annotated[bool, Field(description="Plays backwards.")] = False
    there_and_back: Annotated[bool, Field(description="Plays forwards and then backwards.")] = False
    pan: Annotated[Pan | None, Field(description="A slow move over the one picture of art, from and to.")] = None
    crossfade: Annotated[
        Crossfade | None,
        Field(description='Its last picture dissolves into another: { to = "night.png", frames = 24 }.'),
    ] = None
    hold_screen: Annotated[
        Words | None,
        Field(
            description="Why this part may keep the screen after the radio has booted. Leave it out: "
            "a part with it delays the home screen and the reversing camera."
        ),
    ] = None

    @model_validator(mode="after")
    def _made_of_one_thing(self) -> Part:
        if (self.art is None) == (self.glide is None):
            raise ValueError('needs either art = "lamps/*.png" or a [part.glide] table, and not both')
        if self.glide and (self.backdrop or self.pan):
            raise ValueError("has a glide, whose backdrop stands in [part.glide]; it takes no backdrop or pan here")
        if self.glide and (self.start is not None or self.stop is not None):
            raise ValueError("has a glide; start and stop cut a clip")
        return self

    @model_validator(mode="after")
    def _stops_after_it_starts(self) -> Part:
        if self.stop is not None and self.stop <= (self.start or 0.0):
            raise ValueError(f"stop = {self.stop:g} is not after start = {self.start or 0.0:g}")
        return self

    @property
    def lasts_seconds(self) -> bool:
        """Is any of it drawn to last a time, whatever the rate?"""
        return any(drawn and drawn.seconds for drawn in (self.glide, self.pan, self.crossfade))


class Manifest(Table):
    """What `job.toml` says. Field order is the order of the work."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, title="Keyturn job manifest")

    customer: Annotated[Words, Field(description="Whose radio this is; one proof sheet a customer.")]
    radio: Annotated[
        tuple[Words, ...],
        Field(strict=False, min_length=1, max_length=12, description="One radio or a list of radios."),
        BeforeValidator(_listed, json_schema_input_type=Words | tuple[Words, ...]),
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
    logo: Annotated[LogoTable, Field(description="The still that stands before the animation.")] = LogoTable()
    motion: Annotated[Motion, Field(description="Rate and timing.")] = Motion()
    part: Annotated[
        tuple[Part, ...],
        Field(strict=False, max_length=60, description="The parts of the animation in playing order."),
    ] = ()

    @field_validator("radio")
    @classmethod
    def _no_radio_twice(cls, radios: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(radios)) < len(radios):
            raise ValueError("names a radio twice")
        return radios

    @property
    def ground(self) -> tuple[int, int, int]:
        """The background as 8-bit sRGB."""
        return rgb(self.background)


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
        if not stat.S_ISREG(path.lstat().st_mode):  # a pipe would wait for ever, a link may lead anywhere
            raise _unreadable("is a link or no ordinary file", "put the file itself here")
        with path.open("rb") as file:
            data = file.read(int(max_kib * 1024) + 1)
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
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
    except ValueError as error:  # a number of thousands of digits, say
        raise _unreadable(f"is not valid TOML: {error}", "write plain, short values") from None


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


if __name__ == "__main__":
    Path(__file__).with_name("job.schema.json").write_text(schema_text(), encoding="utf-8")
