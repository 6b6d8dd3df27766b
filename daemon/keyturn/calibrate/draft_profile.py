"""A draft of a radio's profile from its stock files: what they show, and for the rest what the nearest radio has.

What the stock files do not show is never taken for granted: limits are what the stock animation has, and what it does
not use is off. Each line says whether it was seen or from where it was guessed.
"""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path, PurePosixPath

import tomlkit
from pydantic import ValidationError

from keyturn.calibrate.sourced_table import SourcedTable
from keyturn.calibrate.stock_facts import StockFacts
from keyturn.calibrate.stock_logo import StockLogo
from keyturn.shop import durable_files
from keyturn.shop.folding import folded
from keyturn.shop.name_rules import Fat
from keyturn.shop.plain_text import plain_line
from keyturn.shop.player_facts import GENERATIONS, Generation, of_generation
from keyturn.shop.radio_profile import LOGO_ENDINGS, Radio
from keyturn.shop.stick_names import stick_faults
from keyturn.shop.units import MIB
from keyturn.shop.wrong_use import WrongUse

SEEN = "seen in the stock animation"
LOGO_SEEN = "seen in the stock logo"
NOT_SEEN = "not seen in the stock animation"
MOST_FPS = 60
MOST_PLAYS = 10_000
"""What a profile can state."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")


@dataclass(frozen=True, slots=True)
class Draft:
    """A profile as it goes into the rules, and what only a stick can settle."""

    radio: Radio
    text: str
    like: str
    open_questions: tuple[str, ...]


def draft(
    name: str, facts: StockFacts, logo: StockLogo | None, radios: Mapping[str, Radio], stock: str, on: date
) -> Draft:
    """Return the profile of the radio `name` whose stock files show `facts` and `logo`.

    The rest is guessed from the nearest of `radios` that was not learnt so itself. `stock` says in a few words which
    files they were. Raise `WrongUse` where no profile can hold what the files show.
    """
    if logo is not None and logo.size != facts.size:
        sizes = "the stock logo is {} x {}, and the animation {} x {}".format(*logo.size, *facts.size)
        raise WrongUse(sizes, "are both of one radio? leave --logo out if not")
    like = nearest(facts.size, radios.values())
    generation, others = _generations(facts, like)
    tables = {
        "panel": _panel(facts, logo, like),
        "player": _player(facts, like, generation, others),
        "firmware": _firmware(facts, like),
        "limits": _limits(facts, like),
        "boot": _boot(like),
        "logo": _logo(logo, like),
        "stick": _stick(logo, like),
        "screen": _screen(),
        "steps": _steps(like),
    }
    document = tomlkit.document()
    document.add(tomlkit.comment(f"A draft, learnt on {on.isoformat()} from {plain_line(stock)}."))
    document.add(
        tomlkit.comment("A calibration stick has the last word: what is guessed is only as good as its guess.")
    )
    document["title"] = f"{name}, {facts.size[0]} x {facts.size[1]}, as its stock animation shows it"
    for key, table in tables.items():
        document.add(tomlkit.nl())
        document[key] = table.toml()
    text = tomlkit.dumps(document)
    return Draft(_checked(name, text), text, like.name, tuple(_open(facts, logo, like, others)))


def _checked(name: str, text: str) -> Radio:
    try:
        return Radio.model_validate({"name": name} | tomllib.loads(text))
    except ValidationError as error:
        first = error.errors()[0]
        what = f"{'.'.join(map(str, first['loc'])) or 'the profile'}: {first['msg']}"
        raise WrongUse(f"no profile can hold what the stock files show: {what}", "write one by hand") from None


def nearest(size: tuple[int, int], radios: Iterable[Radio]) -> Radio:
    """Return the radio whose panel is most like one of `size`: the same size, else shape and then area."""

    def apart(radio: Radio) -> tuple[bool, float, float, str]:
        width, height = radio.panel.size
        shape = abs(math.log(size[0] / size[1] * height / width))
        area = abs(math.log(size[0] * size[1] / (width * height)))
        return (width, height) != size, round(shape, 2), area, radio.name

    return min((radio for radio in radios if not radio.panel.source.startswith(SEEN)), key=apart)


def _generations(facts: StockFacts, like: Radio) -> tuple[Generation, tuple[Generation, ...]]:
    """Return the generation that is taken, the nearest radio's where that shows the stock animation, and the others."""
    known = next((g for g in like.player.generations if g in facts.generations), facts.generations[0])
    taken = like.player.generation if like.player.generation in facts.generations else known
    return taken, tuple(g for g in facts.generations if g != taken)


# -- the tables --------------------------------------------------------------------------------------


def _guessed_from(like: Radio) -> str:
    return f"guessed from the radio {like.name}"


def _panel(facts: StockFacts, logo: StockLogo | None, like: Radio) -> SourcedTable:
    table = SourcedTable(_guessed_from(like))
    for key, value in zip(("width", "height"), facts.size, strict=True):
        table.add(key, value, SEEN)
    if logo and logo.bmp and logo.bmp.bits == 16:
        table.add("bits", 16, "guessed from the stock logo, which is RGB565")
    else:
        table.guessed("bits", like.panel.bits)
    table.guessed("width_mm", like.panel.width_mm)
    table.guessed("view_mm", like.panel.view_mm)
    return table


def _player(facts: StockFacts, like: Radio, generation: Generation, others: Sequence[Generation]) -> SourcedTable:
    by_class = generation in like.player.generations
    why = _guessed_from(like) if by_class else "guessed: the first that shows the stock animation whole"
    table = SourcedTable(why, f"{SEEN}: rows of type {' '.join(facts.types)}")
    table.add("generation", generation, why)
    if others:
        table.add("may_be", list(others), "guessed: these show the stock animation whole too")
    players = [of_generation(g) for g in facts.generations]
    for key, seen in (("trim", facts.trim), ("row_colour", facts.row_colour)):
        if any(getattr(player, key) != seen for player in players):
            table.add(key, seen, SEEN if seen else NOT_SEEN)
    return table


def _firmware(facts: StockFacts, like: Radio) -> SourcedTable:
    table = SourcedTable(_guessed_from(like))
    table.guessed("pause_unit", like.firmware.pause_unit)
    table.add("frame_formats", list(facts.formats), SEEN)
    for key, seen in (("palette", facts.palette), ("interlaced", facts.interlaced)):
        table.add(key, seen, SEEN if seen else NOT_SEEN)
    if facts.plays > like.firmware.max_plays:
        table.add("max_plays", min(facts.plays, MOST_PLAYS), SEEN)
    else:
        table.guessed("max_plays", like.firmware.max_plays)
    return table


def _limits(facts: StockFacts, like: Radio) -> SourcedTable:
    table, limits = SourcedTable(_guessed_from(like)), like.limits
    fastest = min(facts.fps, MOST_FPS)
    table.guessed("fps_min", min(limits.fps_min, fastest))
    least = f"{SEEN}: at least this; {like.name} has "
    table.add("fps_max", fastest, f"{least}{limits.fps_max}")
    table.add("zip_mib", facts.zip_bytes / MIB, f"{least}{limits.zip_mib:g}")
    table.add("texture_mib", max(facts.memory_mib.values()), f"{least}{limits.texture_mib:g}")
    table.guessed("decode_ms_per_mpx", limits.decode_ms_per_mpx)
    table.guessed("draw_ms", limits.draw_ms)
    return table


def _boot(like: Radio) -> SourcedTable:
    table = SourcedTable(_guessed_from(like))
    for key in ("shortest", "usual", "longest"):
        table.guessed(key, getattr(like.boot, key))
    return table


def _logo(logo: StockLogo | None, like: Radio) -> SourcedTable:
    table = SourcedTable(_guessed_from(like))
    if logo is None:
        for key, value in like.logo.model_dump(mode="json", exclude={"source"}, exclude_defaults=True).items():
            table.guessed(key, value)
        return table
    table.add("formats", [logo.format], LOGO_SEEN)
    if logo.palette:
        table.add("palette", True, LOGO_SEEN)
    made = logo.file_bytes
    if layout := logo.bmp:
        table.add("bmp_bits", layout.bits, LOGO_SEEN)
        table.add("bmp_rows", "top-down" if layout.top_down else "bottom-up", LOGO_SEEN)
        table.add(
            "bmp_header", layout.header, LOGO_SEEN if logo.same_header else "guessed from the stock logo's header"
        )
        if layout.exact_bytes >= layout.least_bytes(logo.size):
            table.add("exact_bytes", layout.exact_bytes, LOGO_SEEN)
        made = layout.file_bytes(logo.size)
    table.add("max_kib", made / 1024, f"{LOGO_SEEN}: at least this; {like.name} has {like.logo.max_kib:g}")
    return table


def _stick(logo: StockLogo | None, like: Radio) -> SourcedTable:
    table = SourcedTable(_guessed_from(like))
    table.guessed("animation", like.stick.animation)
    name = PurePosixPath(like.stick.logo)
    if logo and name.suffix.lower() not in LOGO_ENDINGS[logo.format]:
        name = name.with_suffix(LOGO_ENDINGS[logo.format][0])
    table.guessed("logo", str(name))
    table.add("extra_files", False, "guessed: no other file, until a stick has shown that they do no harm")
    return table


def _screen() -> SourcedTable:
    table = SourcedTable("assumed: fitted with a reversing camera unless the shop knows better")
    table.guessed("shows_camera", True)
    return table


def _steps(like: Radio) -> SourcedTable:
    table = SourcedTable(_guessed_from(like))
    for key in ("load", "confirm", "restore"):
        table.guessed(key, list(getattr(like.steps, key)))
    return table


# -- what is left to ask -----------------------------------------------------------------------------


def _open(facts: StockFacts, logo: StockLogo | None, like: Radio, others: Sequence[Generation]) -> Iterable[str]:
    yield f"how long a boot lasts ({like.boot.shortest:g} to {like.boot.longest:g} s is {like.name}'s)"
    yield "the true time of a frame, and whether it keeps its rate"
    if others:
        known = f"the {' or '.join(facts.generations)}" if len(facts.generations) < len(GENERATIONS) else "each"
        yield f"which generation plays: the stock animation suits {known}, and memory is judged by the worst"
    if facts.pauses:
        yield f"whether a pause counts frames or seconds ({like.firmware.pause_unit} is {like.name}'s)"
    yield (
        "whether the panel shows 16-bit colour"
        if logo and logo.bmp and logo.bmp.bits == 16
        else (f"whether the panel shows more or fewer colours than {like.panel.bits} bits hold")
    )
    yield "whether it takes a larger zip, more pictures in memory or a higher rate than its stock animation has"
    if logo is None:
        yield "which logos it takes: name the stock logo with --logo, or try one"
    yield "what the files on the stick are called, and where they lie"


# -- into the shop's rules ---------------------------------------------------------------------------


def free_path(shop_rules: Path, name: str, radios: Iterable[str]) -> Path:
    """Return where the profile of the new radio `name` goes. Raise `WrongUse` where the name is no name or is taken."""
    if not _NAME.fullmatch(name):
        raise WrongUse(f"{name!r} cannot be a radio's name", "use letters, digits and hyphens, as in dash-1024x600")
    path = shop_rules / "radios" / f"{name}.toml"
    taken = next((other for other in radios if folded(other) == folded(name)), None)
    if taken is None and not os.path.lexists(path):
        return path
    mend = "choose another --name"
    if os.path.lexists(path):
        mend += f", or move {path} away first"
    raise WrongUse(f"there is a radio {taken or name} already, and nothing is overwritten", mend)


def write_draft(made: Draft, path: Path, fat: Fat) -> None:
    """Write the draft to `path`, in one step. Raise `WrongUse` where no stick can hold the files that it names."""
    if faults := stick_faults(made.radio, fat):
        raise WrongUse(f"a stick cannot hold the files of {made.radio.name}: {'; '.join(faults)}", "rename the logo")
    path.parent.mkdir(parents=True, exist_ok=True)
    durable_files.write_atomic(path, made.text.encode("utf-8"))
