"""The shop's board: the drops that wait, are in work, can be collected or were refused."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from markupsafe import Markup

from keyturn.pages.cache_key import SameObjects
from keyturn.pages.render import fragment, page
from keyturn.shop.papers import Letterhead
from keyturn.shop.state_records import ShopState

REFRESH_S = 10
STALE_S = 120
MOST = {"working": 20, "waiting": 40, "ready": 60, "refused": 40}
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


def board(state: ShopState, letterhead: Letterhead | None = None) -> str:
    """Return outbox/board.html, a static page that reloads itself and says so when it is out of date."""
    return page(
        "board.html.j2",
        styles=("board.css",),
        script="board.js",
        state=state,
        shop=letterhead or Letterhead(),
        working=_listing("working", state.working),
        waiting=_listing("waiting", state.waiting, state.waiting_total),
        ready=_listing("ready", state.ready, state.ready_total),
        refused=_listing("refused", state.refused, state.refused_total),
        refresh_s=REFRESH_S,
        stale_s=STALE_S,
    )


def _listing(name: str, rows: tuple[object, ...], total: int = 0) -> Listing:
    """Return the list called `name`. `total` counts the rows that `rows` leaves out too."""
    first = rows[: MOST[name]]
    shown = _shown(name, SameObjects(first, first)) if name != "working" else Markup()
    return Listing(first, max(total, len(rows)), shown)


@lru_cache(maxsize=8)
def _shown(name: str, rows: SameObjects[tuple[object, ...]]) -> Markup:
    """Return the rows' HTML. It is kept, because the board is written every few seconds while work goes on."""
    return fragment(f"board_{name}.html.j2", rows=rows.whole, most_reasons=MOST_REASONS)
