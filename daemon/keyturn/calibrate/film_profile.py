"""Write what films taught into the shop's own profile of the radio. What they do not tell stays as it was."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from keyturn.calibrate import profile
from keyturn.calibrate.film_learning import FilmLearnt
from keyturn.calibrate.player_fit import Cost
from keyturn.calibrate.profile import DEAREST_DECODING, KEPT, Stored
from keyturn.calibrate.reading import MEASURED
from keyturn.calibrate.report import starts
from keyturn.shop import rulebook
from keyturn.shop.player_facts import Generation, of_generation
from keyturn.shop.radio_profile import Radio

DIGITS = 16
"""So many digits of a film's SHA-256 are kept: two different films of a shop do not share them."""


def store_films(shop_rules: Path, radio: Radio, learnt: FilmLearnt, digests: Mapping[str, str], *, on: date) -> Stored:
    """Write what films taught on the day `on` into the shop's own profile of the radio, in one step.

    As `profile.store`: other values, comments and earlier starts stay. The boots are added, the player's facts and the
    costs take the place of what was assumed or measured before. `digests` are the films' SHA-256 by their names: the
    start of a film that is known already is not added again. Raise as `profile.store` does.
    """
    path = shop_rules / "radios" / f"{radio.name}.toml"
    before = rulebook.load(shop_rules).radios[radio.name] if path.is_file() else radio
    known = before.filmed.films if before.filmed else ()
    short = {start.timeline.film: digests[start.timeline.film][:DIGITS] for start in learnt.starts}
    new = [start for start in learnt.starts if short[start.timeline.film] not in known]
    boots = tuple(round(start.shown_s, 3) for start in new)  # an animation is cut where the last frame goes
    films = [*known, *(short[start.timeline.film] for start in new)][-KEPT:]
    samples = (*before.boot.samples, *boots)[-KEPT:]
    how = f"{MEASURED}{on.isoformat()}, {starts(len(learnt.starts))} on film"
    document = profile.document(path, before)
    if new:
        document["boot"].update(profile.boot_table(before, samples, on))
    _update(document, "limits", limits_table(before, learnt, how))
    _update(document, "filmed", {"source": how, "films": films} | filmed_table(learnt))
    _update(document, "player", player_table(before, learnt, how))
    if learnt.seen.pause_unit in ("frames", "seconds"):
        source = profile.sourced(how, before.firmware.source)
        _update(document, "firmware", {"source": source, "pause_unit": learnt.seen.pause_unit})
    if learnt.banding is not None:
        source = profile.sourced(how, before.panel.source)
        _update(document, "panel", {"source": source, "bits": 16 if learnt.banding else 24})
    profile.write(path, document)
    added = min(KEPT, len(boots))
    kept = len(samples) - added
    return Stored(path, kept, added, len(before.boot.samples) - kept)


def _update(document: Any, name: str, table: Mapping[str, Any]) -> None:
    """Set the keys of a table; None takes a key out."""
    if name not in document:
        document[name] = {}
    for key, value in table.items():
        if value is None:
            document[name].pop(key, None)
        else:
            document[name][key] = value


# -- what goes into the tables ----------------------------------------------------------------------


def limits_table(before: Radio, learnt: FilmLearnt, how: str) -> dict[str, Any]:
    """Return what a frame costs. The profile has one figure for decoding: that of detailed frames, so that no
    animation takes longer than the profile says."""
    decode, draw = learnt.fit.detailed or learnt.fit.plain, learnt.fit.draw
    if decode is None and draw is None:
        return {}
    draw_ms = round(draw.seconds * 1000, 3) if draw else before.limits.draw_ms
    table: dict[str, Any] = {"source": profile.sourced(how, before.limits.source), "draw_ms": draw_ms}
    mpx = before.panel.width * before.panel.height / 1e6
    if decode and (each := decode.seconds * 1000 / mpx) <= DEAREST_DECODING:
        table["decode_ms_per_mpx"] = round(each, 6)
    return table


def filmed_table(learnt: FilmLearnt) -> dict[str, Any]:
    """Return what was measured, in ms, with its errors. Where sticks of two rates were filmed, that of the higher."""
    rate = learnt.rates[-1]
    films = [start for start in learnt.starts if start.timeline.plan.fps == rate.fps]
    own = [start.line.slope for start in films]
    costs: dict[str, Cost | None] = {
        "draw": learnt.fit.draw,
        "plain": learnt.fit.plain,
        "detailed": learnt.fit.detailed,
    }
    return {
        "fps": rate.fps,
        "starts": len(films),
        "interval_ms": _ms(rate.line.slope),
        "interval_error_ms": _ms(rate.line.error),
        "spread_ms": _ms(max(own) - min(own)),
        "boot_error_ms": _ms(max(start.error_s for start in learnt.starts)),
        **{f"{name}_ms": _ms(cost.seconds) if cost else None for name, cost in costs.items()},
        **{f"{name}_error_ms": _ms(cost.error) if cost else None for name, cost in costs.items()},
    }


def _ms(seconds: float) -> float:
    return round(seconds * 1000, 3)


def player_table(before: Radio, learnt: FilmLearnt, how: str) -> dict[str, Any]:
    """Return the player's table: its generation as seen, and what was seen that this generation does not do.

    An override of the profile that the films contradict is taken out or changed; others stay.
    """
    player, facts = before.player, learnt.seen.facts
    if not facts:
        return {}
    generation, may_be = generations(before, learnt)
    published = of_generation(generation)
    changed = {key: value for key, value in facts.items() if getattr(published, key) != value}
    agreed = {key: None for key in facts if key in player.own and key not in changed}
    return {
        "source": profile.sourced(f"{how}: {told(facts)}", player.source),
        "generation": generation,
        "may_be": list(may_be) or None,
        **agreed,
        **changed,
    }


def generations(before: Radio, learnt: FilmLearnt) -> tuple[Generation, tuple[Generation, ...]]:
    """Return the generation for the profile, and which others it may be.

    The profile's own stays where the films allow it, alone where it was no guess. Where no published player does what
    was seen, it stays as well, and what was seen stands beside it.
    """
    known, possible = before.player.generations, learnt.seen.generations
    if not possible or (len(known) == 1 and known[0] in possible):
        return before.player.generation, before.player.may_be
    first = before.player.generation if before.player.generation in possible else possible[0]
    return first, tuple(g for g in possible if g != first)


def told(facts: Mapping[str, Any]) -> str:
    """Return what was seen of the player in words, for a source."""
    words = {
        "pacing": f"pacing {facts.get('pacing')}",
        "decodes": f"decodes in {'the first play' if facts.get('decodes') == 'first-play' else 'every play'}",
        "boot_end": "killed when the boot ends" if facts.get("boot_end") == "killed" else "asks for the boot's end",
        "pause_check_ms": "a pause is broken off" if facts.get("pause_check_ms") else "a pause is never cut short",
        "black_first": "black before frame 1" if facts.get("black_first") else "no black before frame 1",
    }
    return ", ".join(words[key] for key in facts)
