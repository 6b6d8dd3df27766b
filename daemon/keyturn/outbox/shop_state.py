"""The state of the whole shop: the board, state/service.json, and what `keyturn status` shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from keyturn.outbox import standings
from keyturn.outbox.fleet_counts import fleets_of
from keyturn.outbox.record_files import is_mended, read_job, read_rejection, readable_record, revisions
from keyturn.shop import durable_files, service_lock
from keyturn.shop.bounded_record import Record
from keyturn.shop.disk_look import disk_fault
from keyturn.shop.file_names import may_be_drop
from keyturn.shop.folders import Shop
from keyturn.shop.name_rules import Names
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import JobRecord
from keyturn.shop.state_records import (
    ASIDE_FILE,
    AsideDrop,
    Place,
    PlacedJob,
    Ready,
    RefusedDrop,
    ShopState,
    Waiting,
    Working,
)

if TYPE_CHECKING:
    from keyturn.shop.papers import Letterhead

SILENT_AFTER = timedelta(seconds=150)
"""A running service writes its state once a minute. One that has not done so for so long cannot."""


MOST_KEPT = 100
"""So many revisions, and jobs of each place, are in service.json."""


class _Claimed(Record):
    """What the state shows of claim.json beside a drop in work."""

    name: str
    claimed_at: str


def write_board(shop: Shop, state: ShopState, letterhead: Letterhead | None = None) -> None:
    """Write outbox/board.html, whole and in one step."""
    from keyturn.pages.board import board  # templates and pictures, which `keyturn status` does without

    durable_files.write_atomic(shop.board, board(state, letterhead).encode("utf-8"))


def write_state(shop: Shop, state: ShopState) -> None:
    """Write state/service.json, from which `keyturn status` knows what a running service does. Long lists are cut to
    their first rows."""
    few = {"ready": state.ready[:MOST_KEPT], "jobs": first_of_each(state.jobs, MOST_KEPT)}
    told = state.model_copy(update=few)
    durable_files.write_atomic(shop.state / "service.json", told.model_dump_json().encode("utf-8"))


def first_of_each(jobs: tuple[PlacedJob, ...], most: int) -> tuple[PlacedJob, ...]:
    """Return the first `most` jobs of each place."""
    seen: Counter[Place] = Counter()
    shown = []
    for job in jobs:
        seen[job.place] += 1
        if seen[job.place] <= most:
            shown.append(job)
    return tuple(shown)


def read_state(shop: Shop) -> ShopState | None:
    """Return what `write_state` wrote last; None where that cannot be read."""
    return readable_record(shop.state / "service.json", ShopState)


def status_line(state: ShopState) -> str:
    """Return the state in one line, for the service manager."""
    if state.paused:
        return f"Paused: {state.paused}"
    work = "; ".join(f"{w.name}: {w.progress()}" for w in state.working[:1])
    waiting = max(state.waiting_total, len(state.waiting))
    counts = f"{waiting} waiting, {state.ready_total} ready, {state.refused_total} refused"
    return f"{work}; {counts}" if work else counts


def current_state(shop: Shop) -> ShopState:
    """Return the shop's state now: what the running service wrote, or what the folders show where none runs."""
    if not shop.is_running():
        return state_of_folders(shop)
    known = read_state(shop)
    now = datetime.now(UTC)
    if known is None:
        return _out_of_date(shop, state_of_folders(shop), "")
    if known.running and service_lock.may_be_held_by(shop.lock, known.pid):
        return known if _age(known, now) < SILENT_AFTER else _out_of_date(shop, known, f" since {known.at}")
    return _out_of_date(shop, known.model_copy(update={"paused": None}), f"; this is of {known.at}")


def _age(known: ShopState, now: datetime) -> timedelta:
    try:
        return now - datetime.fromisoformat(known.at)
    except (ValueError, TypeError):
        return timedelta.max


def _out_of_date(shop: Shop, known: ShopState, since: str) -> ShopState:
    """Return the state of a shop whose service cannot write it: what is known, the drops in work, and a look at the
    disk."""
    holder = service_lock.holder(shop.lock)
    process = f"process {holder}" if holder else "the service"
    fault = disk_fault((shop.state, shop.work, shop.outbox, shop.archive, shop.rejects, shop.inbox))
    told = {
        "running": True,
        "pid": holder,
        "paused": str(fault) if fault else known.paused,
        "out_of_date": f"{process} has not written its state{since}",
        "working": in_work(shop),
        "aside": aside(shop),
    }
    return known.model_copy(update=told)


def state_of_folders(shop: Shop) -> ShopState:
    """Return what the folders show, without a service."""
    waiting = _waiting(shop)
    published = {path.relative_to(shop.outbox).as_posix(): record for path, record in _published(shop)}
    ready = [_ready(path, record) for path, record in published.items()]
    jobs, places = standings.jobs_in(shop.outbox, published, approval=_approval(shop), now=datetime.now(UTC))
    refused = [r for p in sorted(shop.rejects.iterdir()) if (r := _refused(p)) is not None]
    return ShopState(
        fleets=fleets_of(ready, jobs),
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        running=False,
        waiting=waiting,
        working=in_work(shop),
        aside=aside(shop),
        ready=tuple(sorted(ready, key=lambda r: r.made_at, reverse=True)),
        refused=tuple(sorted(refused, key=lambda r: r.rejected_at, reverse=True)),
        jobs=jobs,
        places=places,
        ready_total=len(ready),
        refused_total=len(refused),
    )


def aside(shop: Shop) -> tuple[AsideDrop, ...]:
    """Return the drops in work that are set aside, as far as we may look."""
    try:
        noted = [readable_record(path, AsideDrop) for path in sorted(shop.work.glob(f"*/{ASIDE_FILE}"))]
    except OSError:
        return ()
    return tuple(drop for drop in noted if drop is not None and drop.is_aside())


def in_work(shop: Shop) -> tuple[Working, ...]:
    """Return the drops in work that are not set aside, as far as we may look."""
    held = {drop.place for drop in aside(shop)}
    try:
        drops = [
            path for path in sorted(shop.work.glob("*/drop")) if path.relative_to(shop.root).as_posix() not in held
        ]
        claims = [(path, readable_record(path.with_name("claim.json"), _Claimed)) for path in drops]
    except OSError:
        return ()
    return tuple(
        waiting_in_work(claim.name if claim else path.parent.name, claim.claimed_at if claim else "")
        for path, claim in claims
    )


def waiting_in_work(name: str, since: str) -> Working:
    """Return the row of a drop in work that is not being made at the moment."""
    return Working(name=name, stage="waiting", done=0, total=0, since=since)


def _waiting(shop: Shop) -> tuple[Waiting, ...]:
    """Return the drops in the inbox, by name. Since when they wait is known to a running service alone."""
    entries = sorted(shop.inbox.iterdir())
    if not entries:
        return ()
    names = _names(shop)
    return tuple(
        Waiting(name=p.name, files=1 if p.is_file() else sum(1 for f in p.rglob("*") if f.is_file()), since="")
        for p in entries
        if may_be_drop(p.name, names)
    )


def _names(shop: Shop) -> Names:
    """Return the shop's rule about names; the one that ships with Keyturn where the shop's rules cannot be read."""
    from keyturn.shop import rulebook  # read only where something waits

    try:
        return rulebook.load(shop.rules).intake.names
    except (ShopFault, OSError):
        return rulebook.load().intake.names


def placed(shop: Shop, folder: Path, record: JobRecord) -> PlacedJob:
    """Return how the revision in `folder` stands now, from the folders."""
    return standings.placed(
        shop.outbox, _ready(folder.relative_to(shop.outbox.resolve()).as_posix(), record), _approval(shop)
    )


def _approval(shop: Shop) -> bool:
    """Return whether a job needs the customer's yes; where the settings cannot be read, as if it did not."""
    from keyturn.shop import settings  # beside a running service, which has read them, nothing here does

    try:
        return settings.load(shop.root).approval.required
    except (ShopFault, OSError):
        return False


def _published(shop: Shop) -> Iterator[tuple[Path, JobRecord]]:
    """Yield path and record of every revision in the outbox, by customer and name; none that is only being built."""
    for customer in sorted(p for p in shop.outbox.iterdir() if p.is_dir() and p != shop.building):
        for _, _, path in revisions(customer):
            record = read_job(path)
            if record is not None:
                yield path, record


def _ready(path: str, record: JobRecord) -> Ready:
    return Ready(
        customer=record.customer,
        job=record.job,
        revision=record.revision,
        radios=tuple(r.radio for r in record.radios),
        path=path,
        made_at=record.made_at,
        picture=record.picture,
        claim=record.claim,
        drop=record.drop,
        row=record.row,
        vehicles=record.vehicles,
    )


def _refused(folder: Path) -> RefusedDrop | None:
    rejection = read_rejection(folder)
    if rejection is None or is_mended(folder):
        return None
    return RefusedDrop(
        name=folder.name,
        customer=rejection.customer,
        path=f"rejects/{folder.name}",
        rejected_at=rejection.rejected_at,
        reasons=rejection.reasons,
    )
