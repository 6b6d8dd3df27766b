"""Tells, before any frame is made, on which radios the crop cuts off what moves, and which focus would keep it.

Only parts whose art has another shape than the panel are looked at, so art of the panel's own shape costs no time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.cropped import F64, Axis, Window, best_focus, movement, outside
from keyturn.flatten.frame_source import Source
from keyturn.judge.crop_thumbnails import ThumbnailJob, make_thumbnails
from keyturn.manifest.lines_to_paste import CONTAIN, at_the_top
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.normalize.fit import kept
from keyturn.renumber.parts import JobArt, PartArt
from keyturn.renumber.plan import Plan
from keyturn.renumber.planned_parts import PlannedPart, fit_for
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.reasons import Exhibit, Refused, note
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import Crew

CUT = 0.05
"""A crop that cuts off no more than this share of the art is not looked at. Keyturn's own choice."""

LOST = 0.2
"""More than this share of all movement outside the crop gets a note. Keyturn's own choice."""

BETTER = 0.05
"""A focus is proposed where it keeps at least this share more of the movement. Keyturn's own choice."""

LOOKS = 5
"""Pictures of a part that are looked at, evenly spaced."""

CLIP_START = 300
"""Only so many of a clip's first pictures are looked at: one worker decodes all of them up to the last one chosen."""


Point = tuple[float, float]
Thumbnail = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class _Crop:
    """What one radio shows of the art of part `number` (from 0)."""

    number: int
    window: Window

    @property
    def keeps(self) -> tuple[float, float]:
        """The shares of the art's width and height that are shown."""
        left, top, right, bottom = self.window
        return right - left, bottom - top


def with_crop_notes(
    plans: Sequence[Plan], manifest: Manifest, art: JobArt, intake: Intake, crew: Crew
) -> tuple[Plan, ...]:
    """Return the plans, with a note on those whose radio cuts off much of what moves."""
    crops = [_crops(plan, manifest, art) for plan in plans]
    numbers = sorted({crop.number for found in crops for crop in found})
    jobs = {n: _thumbnail_jobs(plans[0].parts[n], art.parts[n], manifest, intake) for n in numbers}
    seen = crew.run(make_thumbnails, chain.from_iterable(jobs.values()), lambda job: job.sources[0].name)
    moved = {n: movement(thumbnails) for n in numbers if (thumbnails := _thumbnails(list(islice(seen, len(jobs[n])))))}
    return tuple(_with_note(plan, found, moved, art, manifest.focus) for plan, found in zip(plans, crops, strict=True))


def _crops(plan: Plan, manifest: Manifest, art: JobArt) -> list[_Crop]:
    """Return the crops of the plan's drawn motions that cut off enough to be looked at."""
    fit = fit_for(manifest, plan.radio)
    return [
        _Crop(number, window)
        for number, (planned, part) in enumerate(zip(plan.parts, art.parts, strict=True))
        if _moves(planned, part, art) and _area(window := kept(art.probes[part.names[0]].size, fit)) < 1 - CUT
    ]


def _moves(planned: PlannedPart, part: PartArt, art: JobArt) -> bool:
    """Tell whether the part is a motion drawn by the artist.

    A pan is not, because it is framed by hand. A glide is not, because it is placed on the panel. A sheet is not looked
    at: its thumbnail shows all frames at once.
    """
    if part.hold_of or part.entry.pan or part.entry.glide or part.cells or not part.names:
        return False
    sizes = {art.probes[name].size for name in part.names}
    return len(sizes) == 1 and len(set(planned.sources)) > 1


def _area(window: Window) -> float:
    return (window[2] - window[0]) * (window[3] - window[1])


def _thumbnail_jobs(planned: PlannedPart, part: PartArt, manifest: Manifest, intake: Intake) -> list[ThumbnailJob]:
    """Return the jobs for a part: `LOOKS` of its own pictures, evenly spaced, without what is drawn on them or behind.

    A clip is one job, because it is read from its first picture on. Stills are a job each, so workers share them.
    """
    own = dict.fromkeys(Source(s.path, s.name, s.index) for s in planned.sources if s.name in part.names)
    shots = sorted(own, key=lambda source: source.index or 0)[:CLIP_START] if part.clip else list(own)
    chosen = tuple(shots[i] for i in evenly_spaced(len(shots), LOOKS))
    return [
        ThumbnailJob(one, manifest.ground, intake) for one in ([chosen] if part.clip else [(look,) for look in chosen])
    ]


def _thumbnails(seen: Sequence[Sequence[Thumbnail] | Refused]) -> list[Thumbnail]:
    """Return the thumbnails; none where a picture cannot be read, which is told when its frame is made."""
    if any(isinstance(thumbnails, Refused) for thumbnails in seen):
        return []
    return [thumbnail for thumbnails in seen if not isinstance(thumbnails, Refused) for thumbnail in thumbnails]


# -- the note ---------------------------------------------------------------------------------------


Seen = Sequence[tuple[_Crop, F64]]
"""Crops, each with the movement in the art that it is cut from (see `cropped.movement`)."""


def _with_note(plan: Plan, crops: Sequence[_Crop], moved: dict[int, F64], art: JobArt, focus: Point) -> Plan:
    seen = [(crop, moved[crop.number]) for crop in crops if crop.number in moved and moved[crop.number].any()]
    lost = [(outside(moves, crop.window), crop.number) for crop, moves in seen]
    most, number = max(lost, default=(0.0, 0))
    if most <= LOST:
        return plan
    what = f"{most:.0%} of what moves in {art.parts[number].art} lies outside what the panel shows of it"
    (window,) = {crop.window for crop, _ in seen if crop.number == number}
    shown = Exhibit(name=art.parts[number].names[0], kept=window)
    reason = note("motion-cropped", what, _mend(seen, focus), file=FILE_NAME, field="focus", exhibits=(shown,))
    others = (other for other in plan.reasons if other.code != "art-cut-off")  # it says less of the same
    return replace(plan, reasons=(*others, reason))


def _mend(seen: Seen, focus: Point) -> str:
    """Return the remedy, with the focus that keeps most of the movement of all parts; each part has the same weight."""
    x, y = (round(_best(seen, side, focus[side]), 2) for side in (0, 1))
    contain = f"{CONTAIN} shows all of it, with margins"
    now = float(np.mean([1 - outside(moves, crop.window) for crop, moves in seen]))
    then = float(np.mean([1 - outside(moves, _window_at(crop, (x, y))) for crop, moves in seen]))
    if then < now + BETTER:
        return f"no focus keeps more; {contain}: {at_the_top(CONTAIN)}"
    return f"{contain}; another focus keeps {then:.0%} of it: {at_the_top(f'focus = [{x:.2f}, {y:.2f}]')}"


def _best(seen: Seen, side: int, focus: float) -> float:
    """Return the best focus along one side.

    Where nothing is cut off that side it is the focus as given, because other radios may need it.
    """
    axes = [
        Axis(moves.sum(axis=side) / moves.sum(), crop.keeps[side])
        for crop, moves in seen
        if crop.keeps[side] < 1 - 1e-6
    ]
    return best_focus(axes) if axes else focus


def _window_at(crop: _Crop, focus: Point) -> Window:
    starts = [min(max(at - keep / 2, 0.0), 1 - keep) for at, keep in zip(focus, crop.keeps, strict=True)]
    return starts[0], starts[1], starts[0] + crop.keeps[0], starts[1] + crop.keeps[1]
