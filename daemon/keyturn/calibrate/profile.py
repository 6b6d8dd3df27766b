"""Write what was learnt into the shop's own profile of the radio."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError

from keyturn.calibrate.reading import MEASURED, Learnt
from keyturn.calibrate.report import starts
from keyturn.shop import durable_files, rulebook
from keyturn.shop.radio_profile import Radio

KEPT = 50
"""Most starts that a profile keeps; the oldest are removed. Keyturn's own choice."""

DEAREST_DECODING = 2000.0
"""Most ms a million pixels that a profile may state (`Limits.decode_ms_per_mpx`)."""

_BEFORE = "; before: "
_BY_WATCH = "; told by fitters, by the watch, until "


@dataclass(frozen=True, slots=True)
class Stored:
    """The profile's path, and how many starts it kept from before, how many were added and how many removed."""

    path: Path
    kept: int
    added: int
    dropped: int


def store(shop_rules: Path, radio: Radio, learnt: Learnt, *, on: date) -> Stored:
    """Write what was learnt on the day `on` into the shop's own profile of the radio, in one step.

    A profile that is there keeps its other values, its comments and its earlier starts; otherwise the whole of
    `radio` is written. Raise `ShopFault` where the shop's rules cannot be read; a broken file is not replaced.
    """
    path = shop_rules / "radios" / f"{radio.name}.toml"
    before = rulebook.load(shop_rules).radios[radio.name] if path.is_file() else radio
    samples = (*before.boot.samples, *learnt.boot_s)[-KEPT:]
    tables = document(path, before)
    tables["boot"].update(boot_table(before, samples, on))
    tables["limits"].update(_limits_table(before, learnt, on))
    write(path, tables)
    added = min(KEPT, len(learnt.boot_s))
    kept = len(samples) - added
    return Stored(path, kept, added, len(before.boot.samples) - kept)


def store_told(shop_rules: Path, radio: Radio, told_s: Sequence[float], *, on: date) -> Path:
    """Write what fitters read from their watches, all of it, into the shop's own profile of the radio. Return its path.

    The starts on film stay as they are. Of more than `KEPT` the last count. Raise as `store` does.
    """
    path = shop_rules / "radios" / f"{radio.name}.toml"
    before = rulebook.load(shop_rules).radios[radio.name] if path.is_file() else radio
    told = list(told_s)[-KEPT:]
    source = f"{before.boot.source.partition(_BY_WATCH)[0]}{_BY_WATCH}{on.isoformat()}, {starts(len(told))}"
    tables = document(path, before)
    tables["boot"].update({"source": source, "told": told})
    write(path, tables)
    return path


def write(path: Path, tables: Any) -> None:
    """Write a profile's tables to its file, in one step."""
    path.parent.mkdir(parents=True, exist_ok=True)
    durable_files.write_atomic(path, tomlkit.dumps(tables).encode("utf-8"))


def boot_table(before: Radio, samples: Sequence[float], on: date) -> dict[str, Any]:
    """Return the measured starts and their source. `samples` are all that the profile is to keep, in s."""
    how = f"{MEASURED}{on.isoformat()}, {starts(len(samples))}"
    return {"source": sourced(how, before.boot.source), "samples": list(samples)}


def _limits_table(before: Radio, learnt: Learnt, on: date) -> dict[str, Any]:
    """Return the cost of a frame.

    Only decoding and drawing together can be measured. Drawing stays as it was, at most the sum: later plays draw only,
    and a figure too high would make the flash check of a loop too kind.
    """
    if learnt.cost_ms is None:
        return {}
    how = (
        f"{MEASURED}{on.isoformat()} at {learnt.fps} fps, {starts(len(learnt.frames))}: "
        "decoding and drawing together; draw_ms alone is not measured"
    )
    source = sourced(how, before.limits.source)
    draw_ms = min(before.limits.draw_ms, learnt.cost_ms)
    mpx = before.panel.width * before.panel.height / 1e6
    decode_ms_per_mpx = round((learnt.cost_ms - draw_ms) / mpx, 6)
    if decode_ms_per_mpx > DEAREST_DECODING:  # a small panel: not the picture's size is what costs
        decode_ms_per_mpx, draw_ms = 0.0, learnt.cost_ms
    return {"source": source, "decode_ms_per_mpx": decode_ms_per_mpx, "draw_ms": draw_ms}


def sourced(how: str, source: str) -> str:
    """Return the new source, followed by the source of the figures that were not measured."""
    if source.startswith(MEASURED):
        source = source.partition(_BEFORE)[2]
    return how + _BEFORE + source if source else how


def document(path: Path, radio: Radio) -> Any:
    """Return `radio` as TOML: the shop's own file or the shipped one with its comments, or else a new document."""
    for file in (path, rulebook.SHIPPED / "radios" / path.name):
        text = file.read_text(encoding="utf-8") if file.is_file() else ""
        if text and _profile(path.stem, text) == radio:
            return tomlkit.parse(text)
    tables = radio.model_dump(mode="json", exclude={"name"}, exclude_none=True)
    return tomlkit.parse(tomlkit.dumps(tables | {"player": radio.player.as_table()}))


def _profile(name: str, text: str) -> Radio | None:
    """Return the radio that `text` describes, None where it is no profile."""
    try:
        return Radio.model_validate({"name": name} | tomllib.loads(text))
    except (ValidationError, tomllib.TOMLDecodeError):
        return None
