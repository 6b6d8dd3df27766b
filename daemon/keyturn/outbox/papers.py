"""The shop's papers: customers' sheets and the board, always written whole and replaced in one step."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import TypeVar, cast

from loguru import logger
from pydantic import ValidationError

from keyturn.outbox.customer_folder import RECORD_MOST_BYTES, FileState, names, newest_first, state_of
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.pages.board import board
from keyturn.pages.sheet import sheet
from keyturn.shop import durable_files, rulebook
from keyturn.shop.file_names import may_be_drop
from keyturn.shop.folders import Shop
from keyturn.shop.records import JobRecord, ProofRecord, Ready, Record, RefusedDrop, Rejection, ShopState, Waiting
from keyturn.shop.rulebook import Rulebook

ON_SHEET = 20
"""Newest revisions that a sheet shows: it has no room for more, and a customer of many years must not make each
new job slower."""

NO_PICTURES = ProofRecord(radios=())

R = TypeVar("R", bound=Record)


def revisions(customer: Path) -> Iterator[tuple[str, int, Path]]:
    """Job folder name, revision number and path of every revision in a customer's folder."""
    for name in sorted(names(customer)):
        named = job_and_number(name)
        if named and _is_file(customer / name / "job.json"):
            yield *named, customer / name


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except PermissionError:
        if durable_files.open_to_us(path):
            raise
        return False


def read_job(folder: Path) -> JobRecord | None:
    """A revision's record, or None where somebody has spoilt it: one bad folder must not spoil the rest."""
    return _read(folder / "job.json", JobRecord)


def read_proof(folder: Path) -> ProofRecord:
    return _once(folder / "proof.json", ProofRecord) or NO_PICTURES


def read_rejection(folder: Path) -> Rejection | None:
    return _read(folder / "REJECTED.json", Rejection)


def _read(path: Path, model: type[R]) -> R | None:
    """Outbox and rejects are open to the shop's people: anything may lie there under a record's name."""
    try:
        data = durable_files.read_plain(path, RECORD_MOST_BYTES)
        return None if data is None else model.model_validate_json(data)
    except ValidationError as error:
        logger.warning("{} is not readable and is left alone: {}", path, error.errors()[0]["msg"])
    except PermissionError as error:
        if durable_files.open_to_us(path):
            raise
        logger.warning("{} is not readable and is left alone: {}", path, error.strerror)
    return None


def _once(path: Path, model: type[R]) -> R | None:
    """As `_read`; where the file is the one it was before, the very same record."""
    state = state_of(path)
    return None if state is None else cast("R | None", _kept(path, model, state))


@lru_cache(maxsize=3 * ON_SHEET)
def _kept(path: Path, model: type[Record], state: FileState) -> Record | None:
    return _read(path, model)


def write_sheet(outbox: Path, customer: str, rules: Rulebook) -> Path | None:
    """Writes outbox/<customer>/proof.html from that customer's revisions; None where there are none."""
    folder = outbox / customer
    shelf = newest_first(folder)
    chosen = _for_sheet(shelf)
    paths = [folder / name for name in chosen]
    jobs = [(record, read_proof(path)) for path in paths if (record := _once(path / "job.json", JobRecord))]
    if not jobs:
        return None
    page = sheet(jobs[0][0].customer, jobs, rules.safety.cautions.sheet, earlier=len(shelf) - len(chosen))
    target = folder / "proof.html"
    durable_files.write_atomic(target, page.encode("utf-8"))
    return target


def _for_sheet(shelf: list[str]) -> list[str]:
    """The newest, and however old it is the one before the newest of its job: the sheet says what changed since."""
    jobs = [named[0] for name in shelf if (named := job_and_number(name))]
    older = [place for place, job in enumerate(jobs) if job == jobs[0]][1:2]
    return shelf[:ON_SHEET] + [shelf[place] for place in older if place >= ON_SHEET]


def write_board(shop: Shop, state: ShopState) -> None:
    durable_files.write_atomic(shop.board, board(state).encode("utf-8"))


def write_state(shop: Shop, state: ShopState) -> None:
    """state/service.json: what `keyturn status` shows of a running service."""
    durable_files.write_atomic(shop.state / "service.json", state.model_dump_json().encode("utf-8"))


def read_state(shop: Shop) -> ShopState | None:
    return _read(shop.state / "service.json", ShopState)


def status_line(state: ShopState) -> str:
    """The shop in one line, for the service manager."""
    if state.paused:
        return f"Paused: {state.paused}"
    work = "; ".join(f"{w.name}: {w.stage} {w.done}/{w.total}" for w in state.working)
    waiting = max(state.waiting_total, len(state.waiting))
    counts = f"{waiting} waiting, {state.ready_total} ready, {state.refused_total} refused"
    return f"{work}; {counts}" if work else counts


def current_state(shop: Shop) -> ShopState:
    """The shop as it is now: the running service's own word, or what the folders say where none runs."""
    running = shop.is_running()
    known = read_state(shop)
    if running and known is not None:
        return known
    names = rulebook.load().intake.names
    waiting = tuple(
        Waiting(name=p.name, files=1 if p.is_file() else sum(1 for f in p.rglob("*") if f.is_file()), since="")
        for p in sorted(shop.inbox.iterdir())
        if may_be_drop(p.name, names)
    )
    ready = [_ready(shop, path, record) for path, record in _published(shop)]
    refused = [r for p in sorted(shop.rejects.iterdir()) if (r := _refused(p)) is not None]
    return ShopState(
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        running=running,
        waiting=waiting,
        ready=tuple(sorted(ready, key=lambda r: r.made_at, reverse=True)),
        refused=tuple(sorted(refused, key=lambda r: r.rejected_at, reverse=True)),
        ready_total=len(ready),
        refused_total=len(refused),
    )


def _published(shop: Shop) -> Iterator[tuple[Path, JobRecord]]:
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
    if rejection is None:
        return None
    return RefusedDrop(
        name=folder.name,
        customer=rejection.customer,
        path=f"rejects/{folder.name}",
        rejected_at=rejection.rejected_at,
        reasons=rejection.reasons,
    )
