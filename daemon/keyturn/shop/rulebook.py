"""The rules, which a shop can read and edit as TOML: radios, safety, intake limits and names on sticks.

Every table of a rules file names its source. The files of the shop's own rules folder come before those that ship
with Keyturn: a radio's file adds or replaces that radio, a key in safety.toml, intake.toml, usb.toml, kinds.toml,
labels.toml or players.toml replaces that key. Loading reports every error of every file at once.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, Field, ValidationError

from keyturn.shop import player_facts
from keyturn.shop.folding import folded
from keyturn.shop.label_sheets import Labels
from keyturn.shop.listing import listed
from keyturn.shop.name_rules import Fat, Names
from keyturn.shop.named_kinds import NamedKinds
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, ShopFault, mended, refuse
from keyturn.shop.rule_table import Rule, Sourced
from keyturn.shop.stick_names import stick_faults

SHIPPED = Path(__file__).parents[1] / "rules"


class Flash(Sourced):
    """The flash limits of WCAG 2.2, success criterion 2.3.1.

    Luminances are relative (0 to 1); areas are shares of a 10-degree field.
    """

    on_failure: Literal["refuse", "note"] = "refuse"
    most_per_second: Annotated[int, Field(ge=0, le=30)] = 3
    luminance_step: Annotated[float, Field(gt=0, lt=1)] = 0.10
    darker_below: Annotated[float, Field(gt=0, le=1)] = 0.80
    red_ratio: Annotated[float, Field(gt=0, le=1)] = 0.80
    red_step: Annotated[float, Field(gt=0, le=1)] = 0.20
    field_share: Annotated[float, Field(gt=0, le=1)] = 0.25
    field_deg: Annotated[float, Field(gt=0, le=60)] = 10.0
    cell_deg: Annotated[float, Field(gt=0, le=1)] = 0.1


CAMERA_S = 2.0
"""49 CFR 571.111 S5.5.3: a rear visibility image within 2.0 s; from memory, check before relying on it."""


class Holding(Sourced):
    """How long a part of type c may keep the screen, and hide the reversing camera, after the radio has booted."""

    camera_seconds: Annotated[float, Field(ge=0, le=30)] = CAMERA_S


class Cautions(Sourced):
    """Warnings that stand on the customer's sheet and on the fitter's card."""

    sheet: tuple[str, ...]
    card: tuple[str, ...]


class Safety(Rule):
    flash: Flash
    holding: Holding
    cautions: Cautions


class Caps(Sourced):
    """How large a drop and its files may be. Checked before anything is decoded."""

    drop_mib: Annotated[float, Field(gt=0)]
    files: Annotated[int, Field(gt=0)]
    file_mib: Annotated[float, Field(gt=0)]
    manifest_kib: Annotated[float, Field(gt=0)]
    picture_mpx: Annotated[float, Field(gt=0)]
    clip_mpx: Annotated[float, Field(gt=0)]
    frames: Annotated[int, Field(gt=0)]
    rows: Annotated[int, Field(gt=0)]
    folder_depth: Annotated[int, Field(gt=0)]
    zip_ratio: Annotated[float, Field(gt=1)]
    drop_seconds: Annotated[float, Field(ge=1)]


class Workers(Sourced):
    """Limits of one task of a worker. A drop whose task goes beyond them twice is refused.

    A worker that holds more than `kept_mib` of memory when a drop is done is replaced.
    """

    memory_mib: Annotated[int, Field(ge=256)]
    kept_mib: Annotated[int, Field(ge=64)]
    cpu_seconds: Annotated[int, Field(ge=1)]
    wall_seconds: Annotated[float, Field(ge=1)]


class Stages(Sourced):
    """For how many seconds one stage of a drop may wait for the workers. A drop that needs longer is refused.

    `smaller` is for each way of making files smaller; what is not done by then stays as it is. `judge` bounds the flash
    check too, which the service itself does.
    """

    reading: Annotated[float, Field(ge=1)]
    frames: Annotated[float, Field(ge=1)]
    smaller: Annotated[float, Field(ge=1)]
    judge: Annotated[float, Field(ge=1)]

    def seconds(self, stage: str) -> float:
        """Return the limit of the stage called `stage`; infinity where it has none of its own."""
        limits = {"reading": self.reading, "frames": self.frames, "judge": self.judge}
        return limits.get(stage, math.inf)


class Formats(Sourced):
    """Kinds of files that are taken, told by their content. `codecs` are those of films."""

    stills: tuple[str, ...]
    clips: tuple[str, ...]
    codecs: tuple[str, ...] = ()


class Enlarging(Sourced):
    """From which factor on an enlarged picture is noted, and from which it is refused."""

    note_above: Annotated[float, Field(ge=1)]
    refuse_above: Annotated[float, Field(ge=1)]


class MotionRule(Sourced):
    """From which frames a second on a row of pictures is seen as motion."""

    slowest_fps: Annotated[int, Field(ge=1, le=60)]


class DrawnWords(Sourced):
    """Words that Keyturn draws: how large a font file may be, and how high a capital letter must be to be read.

    That height is in minutes of arc, as the driver sees it.
    """

    font_mib: Annotated[float, Field(gt=0)]
    least_arcmin: Annotated[float, Field(ge=0, le=120)]


class Intake(Rule):
    caps: Caps
    workers: Workers
    stages: Stages
    names: Names
    formats: Formats
    motion: MotionRule
    enlarging: Enlarging
    words: DrawnWords


class Usb(Rule):
    fat: Fat


class Rulebook(Rule):
    """All rules of a shop."""

    radios: Mapping[str, Radio]
    safety: Safety
    intake: Intake
    usb: Usb
    kinds: NamedKinds
    labels: Labels

    def radio(self, name: str) -> Radio | Reason:
        """Return the profile called `name`, or a reason that refuses it and names the nearest one.

        Capitals, blanks, hyphens and × for x make no difference where one radio alone is called so.
        """
        if (called := self._called(name)) is not None:
            return self.radios[called]
        near = difflib.get_close_matches(name, self.radios, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"? (' if near else "("
        return refuse(
            "radio-unknown",
            f'no radio is called "{name}"',
            f"{hint}the radios known here: {', '.join(sorted(self.radios))})",
            file="job.toml",
            field="radio",
        )

    def radios_renamed(self, names: Iterable[str]) -> list[Reason]:
        """Return a reason for each of the radios' names that was not written as the profile is called."""
        called = {name: self._called(name) for name in names}
        return [
            mended("manifest-mended", f'"{name}" was read as "{real}"', file="job.toml", field="radio")
            for name, real in called.items()
            if real not in (name, None)
        ]

    def _called(self, name: str) -> str | None:
        alike = [name] if name in self.radios else [other for other in self.radios if folded(other) == folded(name)]
        return alike[0] if len(alike) == 1 else None


M = TypeVar("M", bound=BaseModel)
_BOOKS: dict[str, type[Rule]] = {"safety": Safety, "intake": Intake, "usb": Usb, "kinds": NamedKinds, "labels": Labels}


def load(shop_rules: Path | None = None) -> Rulebook:
    """Return the rules that ship with Keyturn, with the shop's own (a folder) in their place where it has any.

    Raise `ShopFault` naming every file and field at fault, OSError where the shop's cannot be listed.
    """
    layers = [SHIPPED] + ([shop_rules] if shop_rules and shop_rules.is_dir() else [])
    books = {name: _book(name, model, layers) for name, model in _BOOKS.items()}
    players, errors_of_players = _laid_over_each_other("players", layers)
    radios, errors_of_radios = _radios(layers, players)
    usb, _ = books["usb"]
    if isinstance(usb, Usb):
        errors_of_radios += [
            f"{name}.toml: stick: {fault}" for name, radio in radios.items() for fault in stick_faults(radio, usb.fat)
        ]
    errors = [*errors_of_players, *(error for _, errors in books.values() for error in errors), *errors_of_radios]
    if errors:
        raise ShopFault("the rules cannot be read:\n  " + "\n  ".join(errors), "mend the rules files named")
    return Rulebook(radios=radios, **{name: book for name, (book, _) in books.items()})


def _radios(layers: Iterable[Path], players: player_facts.Table) -> tuple[dict[str, Radio], list[str]]:
    """Return the radios of all layers by name, and every error. A later layer replaces a radio of the same name."""
    radios: dict[str, Radio] = {}
    errors: list[str] = []
    for path in (path for layer in layers for path in listed(layer / "radios", "*.toml")):
        data, unreadable = _toml(path)
        radio, wrong = _validated(Radio, {"name": path.stem} | data, path, {"players": players})
        errors += unreadable + wrong
        if radio is not None:
            radios[path.stem] = radio
    return radios, errors


def _book(name: str, model: type[M], layers: Sequence[Path]) -> tuple[M | None, list[str]]:
    """Return the rules of the files `name`.toml of all layers, None where they are wrong, and every error."""
    data, errors = _laid_over_each_other(name, layers)
    path = next(path for layer in reversed(layers) if (path := layer / f"{name}.toml").is_file())
    book, wrong = _validated(model, data, path)
    return book, errors + wrong


def _laid_over_each_other(name: str, layers: Iterable[Path]) -> tuple[dict[str, Any], list[str]]:
    """Return the keys of the files `name`.toml of all layers, later ones over earlier ones, and every error."""
    data: dict[str, Any] = {}
    errors: list[str] = []
    for path in (layer / f"{name}.toml" for layer in layers):
        if path.is_file():
            own, unreadable = _toml(path)
            data, errors = _laid_over(data, own), errors + unreadable
    return data, errors


def _laid_over(base: dict[str, Any], top: dict[str, Any]) -> dict[str, Any]:
    """Return `base` with the keys of `top` in their place, tables key by key."""
    merged = dict(base)
    for key, value in top.items():
        both = isinstance(value, dict) and isinstance(base.get(key), dict)
        merged[key] = _laid_over(base[key], value) if both else value
    return merged


def _toml(path: Path) -> tuple[dict[str, Any], list[str]]:
    """Return the file's keys, none where it is not TOML, and what is wrong with it."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8")), []
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        return {}, [f"{path.name}: not readable as TOML: {error}"]


def _validated(
    model: type[M], data: dict[str, Any], path: Path, context: dict[str, Any] | None = None
) -> tuple[M | None, list[str]]:
    """Return the rules made of `data`, None where a key is wrong, and a line for each wrong key."""
    try:
        return model.model_validate(data, context=context), []
    except ValidationError as error:
        return None, [_line(path, problem["loc"], problem["msg"]) for problem in error.errors()]


def _line(path: Path, steps: tuple[int | str, ...], what: str) -> str:
    return f"{path.name}: {'.'.join(map(str, steps)) or 'file'}: {what}"
