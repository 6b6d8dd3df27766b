"""What the player of each generation does with an animation: the facts of rules/players.toml.

A radio's profile names its generation in [player] and may override any fact there. Profiles of older Keyturns have
some of the facts in [firmware] and [limits]; these keys still work.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

Generation = Literal["first", "second", "third", "fourth"]
GENERATIONS: tuple[Generation, ...] = get_args(Generation)

FILE = Path(__file__).parents[1] / "rules" / "players.toml"

PartType = Literal["p", "c", "f"]


class PlayerFacts(BaseModel):
    """What one player does. rules/players.toml says of each key what it means and where it is from."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    pacing: Literal["additive", "fixed-beat"]
    decodes: Literal["first-play", "every-play"]
    part_types: tuple[PartType, ...]
    unknown_types: Literal["dropped", "p"]
    fade: bool
    boot_end: Literal["killed", "asked"]
    pause_check_ms: Annotated[int, Field(ge=0, le=60_000)]
    texture_bytes: Literal[2, 4]
    texture_bytes_opaque: Literal[2, 4]
    texture_power_of_two: bool
    once_only_textures: Literal["one", "every-frame"]
    textures_freed: Literal["part", "animation"]
    leading_blank: Literal["read", "dropped"]
    black_first: bool
    trim: bool
    row_colour: bool
    see_through: Literal["black", "row-colour"]
    sixteen_bit: Literal["shown", "blank"]
    not_a_picture: Literal["repeats", "crash", "background"]
    doubled_entries: Literal["shown", "refused"]


class Player(PlayerFacts):
    """The player of one radio: the facts of its generation, with what its profile overrides.

    Where `may_be` names further generations, the generation is a guess. `candidates` are the facts of every generation
    that it may be, oldest first. `own` names the facts that the profile overrides.
    """

    source: Annotated[str, Field(min_length=3)]
    generation: Generation
    may_be: tuple[Generation, ...] = ()
    own: tuple[str, ...] = Field((), exclude=True)
    candidates: tuple[PlayerFacts, ...] = Field(exclude=True)

    @property
    def generations(self) -> tuple[Generation, ...]:
        """All generations that the radio may be, oldest first."""
        return tuple(g for g in GENERATIONS if g == self.generation or g in self.may_be)

    def knows(self, kind: PartType) -> bool:
        """Whether rows of this type are told apart by every player that the radio may have."""
        return all(kind in facts.part_types for facts in self.candidates)

    def as_table(self) -> dict[str, Any]:
        """Return the table [player] of a profile that gives this player."""
        return self.model_dump(mode="json", include={"source", "generation", "may_be", *self.own})


Table = Mapping[str, Mapping[str, Any]]
"""rules/players.toml: for each fact what it means, its source, and its value by generation."""


@cache
def shipped() -> Table:
    """Return the facts that ship with Keyturn."""
    table: Table = tomllib.loads(FILE.read_text(encoding="utf-8"))
    return table


@cache
def of_generation(generation: Generation) -> PlayerFacts:
    """Return the facts of the published player of this generation."""
    return PlayerFacts.model_validate(_values(shipped(), generation))


def _values(table: Table, generation: str) -> dict[str, Any]:
    return {name: fact[generation] for name, fact in table.items() if generation in fact}


def with_facts(profile: Mapping[str, Any], table: Table) -> dict[str, Any]:
    """Return a radio's profile whose [player] holds every fact, by its generation where it overrides none.

    Profiles with an unknown generation or without [player] are returned as they are; validation says so.
    """
    whole, moved = _with_old_keys_moved(profile)
    player = whole.get("player")
    if not isinstance(player, Mapping) or player.get("generation") not in GENERATIONS:
        return whole
    own = {key: value for key, value in player.items() if key not in ("source", "generation", "may_be")}
    may_be = player.get("may_be", ())
    wide = [g for g in GENERATIONS if g == player["generation"] or (isinstance(may_be, list | tuple) and g in may_be)]
    facts = _values(table, player["generation"])
    known = {key: value for key, value in own.items() if key in PlayerFacts.model_fields}
    return whole | {
        "old_keys": moved,
        "player": facts
        | dict(player)
        | {"own": tuple(own), "candidates": [_values(table, generation) | known for generation in wide]},
    }


# -- profiles of older Keyturns ----------------------------------------------------------------------

_OLD_KEYS = {
    "firmware": ("pacing", "part_types", "row_colour", "trim"),
    "limits": ("texture_bytes", "texture_power_of_two"),
}


def _with_old_keys_moved(profile: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return the profile with the facts of [firmware] and [limits] in [player], and the keys that were moved."""
    whole = dict(profile)
    moved: dict[str, Any] = {}
    names: list[str] = []
    for table, keys in _OLD_KEYS.items():
        if not isinstance(whole.get(table), Mapping):
            continue
        found = {key: whole[table][key] for key in keys if key in whole[table]}
        whole[table] = {key: value for key, value in whole[table].items() if key not in found}
        moved |= found
        names += [f"{table}.{key}" for key in found]
    if not moved:
        return whole, ()
    if "texture_bytes" in moved:
        moved["texture_bytes_opaque"] = moved["texture_bytes"]
    player = whole.get("player", _guessed(moved))
    whole["player"] = moved | dict(player) if isinstance(player, Mapping) else player
    return whole, tuple(names)


def _guessed(old: Mapping[str, Any]) -> dict[str, Any]:
    """Return the generation that facts of an older profile point to."""
    if old.get("pacing") == "additive":
        generation, may_be = "first", []
    elif old.get("trim"):
        generation, may_be = "third", ["fourth"]
    else:
        generation, may_be = "second", ["third"]
    return {"source": "guessed from the profile's older keys", "generation": generation, "may_be": may_be}
