"""The shop's board: what waits, what is in work, what can be collected and what was refused."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from keyturn.proof.render import page
from keyturn.records import ShopState

REFRESH_S = 10
STALE_S = 120
MOST = {"working": 20, "waiting": 40, "ready": 60, "refused": 40}
MOST_REASONS = 4

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Listing:
    """The rows of one list that are shown, how many there are in all and how many of them are not shown."""

    rows: tuple[object, ...]
    total: int

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
        waiting=_listing("waiting", state.waiting),
        ready=_listing("ready", state.ready, state.ready_total),
        refused=_listing("refused", state.refused, state.refused_total),
        refresh_s=REFRESH_S,
        stale_s=STALE_S,
        most_reasons=MOST_REASONS,
    )


def _listing(name: str, rows: tuple[T, ...], total: int = 0) -> Listing:
    """`total` may be above the rows the state carries."""
    return Listing(rows[: MOST[name]], max(total, len(rows)))
