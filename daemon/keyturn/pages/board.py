"""The shop's board: what waits, what is in work, what can be collected and what was refused."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from markupsafe import Markup

from keyturn.pages.cache_key import Same
from keyturn.pages.render import fragment, page
from keyturn.shop.records import ShopState

REFRESH_S = 10
STALE_S = 120
MOST = {"working": 20, "waiting": 40, "ready": 60, "refused": 40}
MOST_REASONS = 4


@dataclass(frozen=True, slots=True)
class Listing:
    """The rows of one list that are shown, as the page shows them (but for work, which changes all the time), how
    many there are in all and how many of them are not shown."""

    rows: tuple[object, ...]
    total: int
    shown: Markup

    @property
    def more(self) -> int:
        return self.total - len(self.rows)


def board(state: ShopState) -> str:
    """outbox/board.html: a static file that loads itself again and says when it has grown old."""
    return page(
        "board.html.j2",
        styles=("board.css",),
        script="board.js",
        state=state,
        working=_listing("working", state.working),
        waiting=_listing("waiting", state.waiting, state.waiting_total),
        ready=_listing("ready", state.ready, state.ready_total),
        refused=_listing("refused", state.refused, state.refused_total),
        refresh_s=REFRESH_S,
        stale_s=STALE_S,
    )


def _listing(name: str, rows: tuple[object, ...], total: int = 0) -> Listing:
    """`total` may be above the rows the state carries."""
    first = rows[: MOST[name]]
    shown = _shown(name, Same(first, first)) if name != "working" else Markup()
    return Listing(first, max(total, len(rows)), shown)


@lru_cache(maxsize=8)
def _shown(name: str, rows: Same[tuple[object, ...]]) -> Markup:
    """Made anew only when the rows are others: while work goes on the board is written every few seconds."""
    return fragment(f"board_{name}.html.j2", rows=rows.whole, most_reasons=MOST_REASONS)
