"""How much of the job's stills the panel cuts off, and stills so long that they may be sheets of frames."""

from __future__ import annotations

import json
from collections.abc import Iterator

from keyturn.manifest.lines_to_paste import CONTAIN, at_the_top
from keyturn.manifest.models import FILE_NAME
from keyturn.normalize.fit import Fit, kept
from keyturn.renumber.extra_pictures import extra_pictures
from keyturn.renumber.parts import JobArt, PartArt
from keyturn.shop.reasons import Exhibit, Reason, note, refuse

MUCH = 0.3334
"""A third. A still of which more than this share is cut off gets a note. Keyturn's own choice."""

LONG = 10.0
"""A still so many times as wide, or as high, as the panel for its other side may be a sheet. Keyturn's own choice."""

Size = tuple[int, int]


def cut_off_reasons(art: JobArt, fit: Fit, radio: str) -> list[Reason]:
    """Ask about stills that may be sheets of frames; else note the still of which the panel cuts off most."""
    if fit.mode != "cover":
        return []
    if asked := list(_asked(art, fit)):
        return asked
    sizes = dict(_sizes(art))
    shares = {name: cut_off(size, fit) for name, size in sizes.items()}
    name, most = max(shares.items(), key=lambda item: item[1], default=("", 0.0))
    if most <= MUCH:
        return []
    alike = sum(share > MUCH for share in shares.values()) - 1
    more = f" (and of {alike} more pictures much)" if alike else ""
    what = f"{most:.0%} of it is cut off, so that it fills the panel of {radio}{more}"
    shown = Exhibit(name=name, kept=kept(sizes[name], fit))
    mend = f"to show all of it, with margins, {at_the_top(CONTAIN)}"
    return [note("art-cut-off", what, mend, file=name, exhibits=(shown,))]


def cut_off(size: Size, fit: Fit) -> float:
    """Return which share of a picture of `size` is not shown."""
    left, top, right, bottom = kept(size, fit)
    return 1 - (right - left) * (bottom - top)


def _sizes(art: JobArt) -> Iterator[tuple[str, Size]]:
    """Yield the stills that fill the panel, with their sizes; of a sheet, those of its frames."""
    if art.logo:
        yield art.logo, art.probes[art.logo].size
    for part in art.parts:
        if part.hold_of:
            continue
        sprites = {sprite.art for sprite in part.entry.glide.sprites} if part.entry.glide else set[str | None]()
        own = () if part.clip or part.entry.pan or part.cells else part.names
        for name in [*own, *(name for name in extra_pictures(part.entry) if name not in sprites)]:
            yield name, art.probes[name].size
        for name, (left, top, right, bottom) in part.cells:
            yield name, (right - left, bottom - top)


def _asked(art: JobArt, fit: Fit) -> Iterator[Reason]:
    for number, part in enumerate(art.parts, 1):
        if not (part.hold_of or part.clip or part.entry.pan or part.cells) and (found := _longest(part, art, fit.size)):
            name, across, times = found
            wide, high = art.probes[name].size
            grid = f"[{round(times)}, 1]" if across else f"[1, {round(times)}]"
            side = "wide" if across else "high"
            what = f"is {wide} x {high}, {times:.0f} times as {side} as the panel's shape: is it a sheet of frames?"
            rows = f"[[part]]\nart = {json.dumps(name, ensure_ascii=False)}\nsheet = {grid}"
            mend = f'if not, fit = "contain" shows it whole; if so, its part in job.toml needs these lines:\n{rows}'
            shown = Exhibit(name=name, kept=kept((wide, high), fit))
            yield refuse("sheet-unsaid", what, mend, file=name, field=f"part.{number}.sheet", exhibits=(shown,))


def _longest(part: PartArt, art: JobArt, panel: Size) -> tuple[str, bool, float] | None:
    """Return the longest still, whether it is long across, and how many panels long it is; None where none is."""
    found = []
    for name in part.names:
        wide, high = art.probes[name].size
        ratio = (wide / high) / (panel[0] / panel[1])
        found.append((max(ratio, 1 / ratio), ratio > 1, name))
    times, across, name = max(found, default=(0.0, False, FILE_NAME))
    return (name, across, times) if times >= LONG else None
