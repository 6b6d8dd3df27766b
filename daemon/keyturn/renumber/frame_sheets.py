"""Parts whose frames lie side by side in one picture, a sheet, which is cut into them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from keyturn.manifest.models import FILE_NAME, Part
from keyturn.normalize.sheet_cells import Cell, SheetGrid, SheetJob, filled
from keyturn.renumber.parts import JobArt, PartArt
from keyturn.shop.reasons import Reason, Refused, mended, refuse, stop_if_refused
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import Crew


def with_cells(art: JobArt, root: Path, intake: Intake, crew: Crew) -> JobArt:
    """Return the art with the cells of each sheet that show something. Raise `Refused` with all that is wrong."""
    reasons: list[Reason] = []
    jobs: dict[tuple[str, SheetGrid], SheetJob] = {}
    for number, part in enumerate(art.parts, 1):
        if (grid := _grid(part.entry)) and not part.hold_of:
            for name in part.names:
                size = art.probes[name].size
                if cells := grid.cells(size):
                    jobs[name, grid] = SheetJob(root / name, name, intake, cells)
                else:
                    reasons.append(_uneven(name, size, grid, number))
    if not jobs and not reasons:
        return art
    found: dict[tuple[str, SheetGrid], tuple[Cell, ...]] = {}
    for key, shown in zip(jobs, crew.run(filled, jobs.values(), lambda job: job.name), strict=True):
        if isinstance(shown, Refused):
            reasons += shown.reasons
        else:
            found[key] = shown
            reasons += _left_out(key[0], jobs[key].cells, shown)
    stop_if_refused([*art.reasons, *reasons])
    return replace(art, parts=_cut(art.parts, found), reasons=(*art.reasons, *reasons))


def _grid(entry: Part) -> SheetGrid | None:
    return SheetGrid(*entry.sheet, margin=entry.margin, gap=entry.gap) if entry.sheet else None


def _cut(parts: tuple[PartArt, ...], found: Mapping[tuple[str, SheetGrid], tuple[Cell, ...]]) -> tuple[PartArt, ...]:
    made: list[PartArt] = []
    for part in parts:
        if part.hold_of:
            made.append(replace(part, hold_of=made[-1]))
        elif grid := _grid(part.entry):
            made.append(replace(part, cells=tuple((n, cell) for n in part.names for cell in found[n, grid])))
        else:
            made.append(part)
    return tuple(made)


def _uneven(name: str, size: tuple[int, int], grid: SheetGrid, number: int) -> Reason:
    around = f", margin {grid.margin} and gap {grid.gap}" if grid.margin or grid.gap else ""
    what = f"{size[0]} x {size[1]} pixels make no {grid.columns} x {grid.rows} equal frames{around} ({name})"
    mend = "write sheet = [columns, rows], and margin and gap in pixels where the sheet has them"
    return refuse("sheet-uneven", what, mend, file=FILE_NAME, field=f"part.{number}.sheet")


def _left_out(name: str, every: tuple[Cell, ...], shown: tuple[Cell, ...]) -> list[Reason]:
    if not shown:
        return [refuse("sheet-empty", "is one even colour in every cell", "check the picture", file=name)]
    if shown == every:
        return []
    left = len(every) - len(shown)
    cells = "the last cell is" if left == 1 else f"the last {left} cells are"
    return [mended("sheet-cells-empty", f"{cells} empty and left out; {len(shown)} frames are left", file=name)]
