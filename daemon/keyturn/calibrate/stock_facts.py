"""What a radio's stock animation tells of the radio: facts, and which generations of players would show it.

The radio shows its own stock files. So the facts are taken as they stand there, and a generation of players that would
show less of the animation than another is not this radio's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from keyturn.radio import inspect, memory, trim
from keyturn.radio.archive import Entry, Trims, Verdict
from keyturn.radio.desc import Desc, parse
from keyturn.shop.player_facts import GENERATIONS, Generation, PartType, of_generation
from keyturn.shop.reasons import Kind, Reason, Refused, only
from keyturn.shop.units import MIB

TYPES: tuple[PartType, ...] = ("p", "c", "f")


@dataclass(frozen=True, slots=True)
class StockFacts:
    """What the stock animation tells of its radio.

    `plays` is the highest play count in desc.txt, 0 where every part repeats until the radio has booted. `generations`
    are those whose players show all of it but the `oddities`, oldest first; `memory_mib` is what each of them holds
    meanwhile.
    """

    size: tuple[int, int]
    fps: int
    types: tuple[PartType, ...]
    plays: int
    pauses: bool
    formats: tuple[Literal["png", "jpeg"], ...]
    palette: bool
    interlaced: bool
    deep: bool
    trim: bool
    row_colour: bool
    zip_bytes: int
    generations: tuple[Generation, ...]
    memory_mib: Mapping[Generation, float]
    oddities: tuple[Reason, ...]


def facts_of(
    entries: Sequence[Entry], desc_bytes: bytes | None, trims: Trims, *, zip_bytes: int, bytes_before: bool = False
) -> StockFacts:
    """Return what the archive shows. Raise `Refused` with the reasons where no published player shows anything."""
    verdict = inspect.look(entries, desc_bytes, None, trims, bytes_before=bytes_before)
    shown = {g: view for g, view in verdict.by_generation.items() if view.shown and view.desc}
    if not shown:
        raise Refused(only(verdict.reasons, Kind.REFUSE))
    shown = {g: view for g, view in shown.items() if not _crashes(view, g)} or shown
    faults = {g: _faults(view) for g, view in shown.items()}
    fewest = min(map(len, faults.values()))
    generations = tuple(g for g in GENERATIONS if g in faults and len(faults[g]) == fewest)
    desc = _whole_desc(desc_bytes or b"", shown[generations[-1]])
    frames = list(_frames(shown[generations[-1]], entries))
    kinds = {frame.kind for frame in frames}
    return StockFacts(
        size=(desc.width, desc.height),
        fps=desc.fps,
        types=tuple(kind for kind in TYPES if kind == "p" or kind in {row.type for row in desc.rows}),
        plays=max((row.count for row in desc.rows), default=0),
        pauses=any(row.pause > 0 for row in desc.rows),
        formats=("png", "jpeg") if len(kinds) > 1 else ("jpeg",) if "jpeg" in kinds else ("png",),
        palette=any(frame.palette for frame in frames),
        interlaced=any(frame.interlaced for frame in frames),
        deep=any((frame.bits or 0) > 8 for frame in frames),
        trim=_trims(desc, trims) and all(of_generation(g).trim for g in generations),
        row_colour=any(row.colour for row in desc.rows),
        zip_bytes=zip_bytes,
        generations=generations,
        memory_mib={g: _held_mib(shown[g], entries, g) for g in generations},
        oddities=tuple(r for r in faults[generations[0]] if r.code != "frame-interlaced"),
    )


def _crashes(view: Verdict, generation: Generation) -> bool:
    """Whether the player ends at a file that is no picture."""
    odd = any(reason.code == "frame-not-a-picture" for reason in view.reasons)
    return odd and of_generation(generation).not_a_picture == "crash"


def _faults(view: Verdict) -> list[Reason]:
    """Return what a player would not show as it stands. That it holds the home screen is the maker's own choice."""
    return [r for r in only(view.reasons, Kind.REFUSE) if r.code not in inspect.HOLDING]


def _whole_desc(desc_bytes: bytes, view: Verdict) -> Desc:
    """Return desc.txt with every row and colour that some player reads."""
    whole = parse(desc_bytes).desc or view.desc
    assert whole is not None, "a player that shows the animation has read desc.txt"
    return whole


def _frames(view: Verdict, entries: Sequence[Entry]) -> Iterator[Entry]:
    by_name = {entry.name: entry for entry in entries if entry.kind != "other"}
    yield from (by_name[name] for part in view.parts for name in part.frames if name in by_name)


def _trims(desc: Desc, trims: Trims) -> bool:
    return any(trim.parse(trims.get(f"{row.path}/{trim.NAME}", b"")) for row in desc.rows)


def _held_mib(view: Verdict, entries: Sequence[Entry], generation: Generation) -> float:
    desc, parts = view.desc, [part.taken for part in view.parts]
    assert desc is not None, "only views that show something are asked"
    held = memory.held(
        parts, (desc.width, desc.height), of_generation(generation), inspect.textures(view.parts, entries)
    )
    return held.peak / MIB
