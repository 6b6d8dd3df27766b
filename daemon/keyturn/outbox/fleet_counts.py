"""How many jobs were made of each fleet, and how far these have come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import TYPE_CHECKING

from keyturn.shop.state_records import FleetCount, Place, PlacedJob, Ready

if TYPE_CHECKING:  # without a service `keyturn status` looks at the folders alone
    from keyturn.outbox.ledger import Ledger

MOST_FLEETS = 100
"""So many of the newest fleets are told of."""


def fleets(ledger: Ledger, jobs: Iterable[PlacedJob]) -> tuple[FleetCount, ...]:
    """Return the newest fleets, newest first. `jobs` are the newest revisions of the shop's jobs."""
    return _with_places(ledger.fleets(MOST_FLEETS), jobs)


def fleets_of(ready: Iterable[Ready], jobs: Iterable[PlacedJob]) -> tuple[FleetCount, ...]:
    """Return what `fleets` does, of revisions that no ledger holds."""
    by_claim: dict[str, list[Ready]] = {}
    for made in ready:
        if made.row:
            by_claim.setdefault(made.claim, []).append(made)
    counted = [
        FleetCount(drop=rows[0].drop, claim=claim, jobs=len(rows), made_at=max(row.made_at for row in rows))
        for claim, rows in by_claim.items()
    ]
    newest = sorted(sorted(counted, key=lambda fleet: fleet.claim), key=lambda fleet: fleet.made_at, reverse=True)
    return _with_places(newest[:MOST_FLEETS], jobs)


def _with_places(fleets: Iterable[FleetCount], jobs: Iterable[PlacedJob]) -> tuple[FleetCount, ...]:
    counts: dict[str, Counter[Place]] = {}
    for job in jobs:
        if job.row:
            counts.setdefault(job.claim, Counter())[job.place] += 1
    return tuple(fleet.model_copy(update={"places": dict(counts.get(fleet.claim, {}))}) for fleet in fleets)
