"""The shop's board: the drops that wait, are in work, can be collected or were refused."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

from markupsafe import Markup

from keyturn.pages.cache_key import SameObjects
from keyturn.pages.render import fragment, page
from keyturn.shop.papers import Letterhead
from keyturn.shop.state_records import PLACES, Place, PlaceCounts, PlacedJob, Ready, ShopState

REFRESH_S = 10
STALE_S = 120
MOST = {"working": 20, "waiting": 40, "ready": 1000, "jobs": 1000, "refused": 40}
"""Most rows of each list. The jobs of all places together are one list here, since they make the page heavy."""

TO_DO: frozenset[Place] = frozenset({"change", "stick", "fit"})
"""The places in which the shop has to do something."""

SEARCH_FROM = 8
"""With so many rows the page offers a search."""

PICTURES = "data: 'self' file:"
"""The held frames lie beside the board. In Chromium 'self' is nothing on a page opened from a file."""

MOST_REASONS = 4


@dataclass(frozen=True, slots=True)
class Listing:
    """One list of the board: the rows that are shown, how many there are in all, and the rows' HTML.

    `shown` is empty for drops in work. They change all the time, so the page makes their HTML itself.
    """

    rows: tuple[object, ...]
    total: int
    shown: Markup

    @property
    def more(self) -> int:
        """How many rows are not shown."""
        return self.total - len(self.rows)


@dataclass(frozen=True, slots=True)
class PlaceListing(Listing):
    """The jobs of one place, and what it is called."""

    place: Place
    title: str


def board(state: ShopState, letterhead: Letterhead | None = None) -> str:
    """Return outbox/board.html, a static page that reloads itself and says so when it is out of date."""
    places = _places(state.jobs, state.places) if state.places else ()
    ready = _listing("ready", () if state.places else state.ready, state.ready_total)
    return page(
        "board.html.j2",
        styles=("board.css",),
        script="board.js",
        pictures=PICTURES,
        state=state,
        places=places,
        to_do=sum(listing.total for listing in places if listing.place in TO_DO),
        searched=sum(len(listing.rows) for listing in (ready, *places)) >= SEARCH_FROM,
        shop=letterhead or Letterhead(),
        working=_listing("working", state.working),
        waiting=_listing("waiting", state.waiting, state.waiting_total),
        ready=ready,
        refused=_listing("refused", state.refused, state.refused_total),
        refresh_s=REFRESH_S,
        stale_s=STALE_S,
    )


def _places(jobs: Sequence[PlacedJob], counts: PlaceCounts) -> tuple[PlaceListing, ...]:
    """Return the places in which jobs are, each with the oldest of its jobs."""
    by_place = {place: tuple(job for job in jobs if job.place == place) for place in PLACES}
    shares = _shares([len(rows) for rows in by_place.values()], MOST["jobs"])
    return tuple(
        PlaceListing(first, getattr(counts, place), _shown("jobs", SameObjects(first, first)), place, PLACES[place])
        for (place, rows), most in zip(by_place.items(), shares, strict=True)
        if (first := rows[:most])
    )


def _shares(lengths: Sequence[int], most: int) -> list[int]:
    """Return how many rows each list may have so that all have `most` together. Short lists are whole."""
    shares = dict.fromkeys(range(len(lengths)), 0)
    left = most
    for others, place in enumerate(sorted(shares, key=lambda place: lengths[place])):
        shares[place] = min(lengths[place], left // (len(lengths) - others))
        left -= shares[place]
    return list(shares.values())


def _listing(name: str, rows: tuple[object, ...], total: int = 0) -> Listing:
    """Return the list called `name`. `total` counts the rows that `rows` leaves out too."""
    first = rows[: MOST[name]]
    shown = _shown(name, SameObjects(first, first)) if name != "working" else Markup()
    return Listing(first, max(total, len(rows)), shown)


@lru_cache(maxsize=16)
def _shown(name: str, rows: SameObjects[tuple[object, ...]]) -> Markup:
    """Return the rows' HTML. It is kept, because the board is written every few seconds while work goes on."""
    groups = _by_fleet(rows.whole) if name in ("ready", "jobs") else ()
    return fragment(f"board_{name}.html.j2", rows=rows.whole, groups=groups, most_reasons=MOST_REASONS)


@dataclass(frozen=True, slots=True)
class FleetRows:
    """Jobs that stand together: those of one fleet, the drop called `fleet`, or single ones where that is empty."""

    fleet: str
    rows: list[Ready]


def _by_fleet(rows: Iterable[object]) -> tuple[FleetRows, ...]:
    """Return the rows, those of each fleet together where its first one stands, in the order of its table."""
    groups: list[FleetRows] = []
    fleets: dict[str, FleetRows] = {}
    for row in rows:
        if not isinstance(row, Ready) or not row.row:
            if not groups or groups[-1].fleet:
                groups.append(FleetRows("", []))
            groups[-1].rows.append(cast("Ready", row))
        elif row.claim in fleets:
            fleets[row.claim].rows.append(row)
        else:
            fleets[row.claim] = FleetRows(row.drop, [row])
            groups.append(fleets[row.claim])
    for group in fleets.values():
        group.rows.sort(key=lambda row: row.row)
    return tuple(groups)
