"""The state of the whole shop: the board, state/service.json, and what `keyturn status` shows."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from keyturn.outbox.record_files import is_mended, read_job, read_rejection, readable_record, revisions
from keyturn.pages.board import board
from keyturn.shop import durable_files, rulebook
from keyturn.shop.file_names import may_be_drop
from keyturn.shop.folders import Shop
from keyturn.shop.records import JobRecord
from keyturn.shop.state_records import ASIDE_FILE, AsideDrop, Ready, RefusedDrop, ShopState, Waiting


def write_board(shop: Shop, state: ShopState) -> None:
    """Write outbox/board.html, whole and in one step."""
    durable_files.write_atomic(shop.board, board(state).encode("utf-8"))


def write_state(shop: Shop, state: ShopState) -> None:
    """Write state/service.json, from which `keyturn status` knows what a running service does."""
    durable_files.write_atomic(shop.state / "service.json", state.model_dump_json().encode("utf-8"))


def read_state(shop: Shop) -> ShopState | None:
    """Return what `write_state` wrote last; None where that cannot be read."""
    return readable_record(shop.state / "service.json", ShopState)


def status_line(state: ShopState) -> str:
    """Return the state in one line, for the service manager."""
    if state.paused:
        return f"Paused: {state.paused}"
    work = "; ".join(f"{w.name}: {w.stage} {w.done}/{w.total}" for w in state.working)
    waiting = max(state.waiting_total, len(state.waiting))
    counts = f"{waiting} waiting, {state.ready_total} ready, {state.refused_total} refused"
    return f"{work}; {counts}" if work else counts


def current_state(shop: Shop) -> ShopState:
    """Return the shop's state now: what the running service wrote, or what the folders show where none runs."""
    running = shop.is_running()
    known = read_state(shop)
    return known if running and known is not None else _state_of_folders(shop, running)


def _state_of_folders(shop: Shop, running: bool) -> ShopState:
    waiting = _waiting(shop)
    ready = [_ready(shop, path, record) for path, record in _published(shop)]
    refused = [r for p in sorted(shop.rejects.iterdir()) if (r := _refused(p)) is not None]
    return ShopState(
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        running=running,
        waiting=waiting,
        aside=aside(shop),
        ready=tuple(sorted(ready, key=lambda r: r.made_at, reverse=True)),
        refused=tuple(sorted(refused, key=lambda r: r.rejected_at, reverse=True)),
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


def _waiting(shop: Shop) -> tuple[Waiting, ...]:
    """Return the drops in the inbox, by name. Since when they wait is known to a running service alone."""
    names = rulebook.load().intake.names
    return tuple(
        Waiting(name=p.name, files=1 if p.is_file() else sum(1 for f in p.rglob("*") if f.is_file()), since="")
        for p in sorted(shop.inbox.iterdir())
        if may_be_drop(p.name, names)
    )


def _published(shop: Shop) -> Iterator[tuple[Path, JobRecord]]:
    """Yield path and record of every revision in the outbox, by customer and name."""
    for customer in sorted(p for p in shop.outbox.iterdir() if p.is_dir()):
        for _, _, path in revisions(customer):
            record = read_job(path)
            if record is not None:
                yield path, record


def _ready(shop: Shop, path: Path, record: JobRecord) -> Ready:
    return Ready(
        customer=record.customer,
        job=record.job,
        revision=record.revision,
        radios=tuple(r.radio for r in record.radios),
        path=path.relative_to(shop.outbox).as_posix(),
        made_at=record.made_at,
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
