"""The shop's papers: customers' sheets and the board, always written whole and replaced in one step."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from loguru import logger
from pydantic import ValidationError

from keyturn import disk, rulebook
from keyturn.intake.names import may_be_drop
from keyturn.proof.board import board
from keyturn.proof.sheet import sheet
from keyturn.records import JobRecord, ProofRecord, Ready, RefusedDrop, Rejection, ShopState, Waiting
from keyturn.rulebook import Rulebook
from keyturn.shop import Shop

WITH_PICTURES = 20
"""Newest revisions whose pictures are read for a sheet: it has no room for more, and a customer of many years
must not make each new job slower."""

_REVISION = re.compile(r"(?P<job>.+)-r(?P<number>[1-9][0-9]*)")


def revisions(customer: Path) -> Iterator[tuple[str, int, Path]]:
    """Job folder name, revision number and path of every revision in a customer's folder."""
    if not customer.is_dir():
        return
    for path in sorted(customer.iterdir()):
        found = _REVISION.fullmatch(path.name)
        if found and (path / "job.json").is_file():
            yield found["job"], int(found["number"]), path


def next_revision(shop: Shop, customer: str, job: str) -> int:
    """One above every revision ever made: a number is not used again after its folder was taken away."""
    numbers = [0]
    for base in (shop.outbox, shop.archive):
        folder = base / customer
        for path in folder.iterdir() if folder.is_dir() else ():
            found = _REVISION.fullmatch(path.name.partition("--")[0])
            if found and found["job"] == job:
                numbers.append(int(found["number"]))
    return max(numbers) + 1


def read_job(folder: Path) -> JobRecord | None:
    """A revision's record, or None where somebody has spoilt it: one bad folder must not spoil the rest."""
    try:
        return JobRecord.model_validate_json((folder / "job.json").read_bytes())
    except (FileNotFoundError, NotADirectoryError):
        return None
    except ValidationError as error:
        logger.warning("{} is not readable and is left alone: {}", folder / "job.json", error.errors()[0]["msg"])
        return None


def read_proof(folder: Path) -> ProofRecord:
    try:
        return ProofRecord.model_validate_json((folder / "proof.json").read_bytes())
    except (FileNotFoundError, NotADirectoryError, ValidationError):
        return ProofRecord(radios=())


def read_rejection(folder: Path) -> Rejection | None:
    try:
        return Rejection.model_validate_json((folder / "REJECTED.json").read_bytes())
    except (FileNotFoundError, NotADirectoryError, ValidationError):
        return None


def write_sheet(outbox: Path, customer: str, rules: Rulebook) -> Path | None:
    """Writes outbox/<customer>/proof.html from that customer's revisions; None where there are none."""
    folder = outbox / customer
    made = [(record, path) for _, _, path in revisions(folder) if (record := read_job(path))]
    if not made:
        return None
    made.sort(key=lambda pair: (pair[0].made_at, pair[0].revision), reverse=True)
    jobs = [
        (record, read_proof(path) if place < WITH_PICTURES else ProofRecord(radios=()))
        for place, (record, path) in enumerate(made)
    ]
    page = sheet(jobs[0][0].customer, jobs, rules.safety.cautions.sheet)
    target = folder / "proof.html"
    disk.write_atomic(target, page.encode("utf-8"))
    return target


def write_board(shop: Shop, state: ShopState) -> None:
    disk.write_atomic(shop.board, board(state).encode("utf-8"))


def write_state(shop: Shop, state: ShopState) -> None:
    """state/service.json: what `keyturn status` shows of a running service."""
    disk.write_atomic(shop.state / "service.json", state.model_dump_json().encode("utf-8"))


def read_state(shop: Shop) -> ShopState | None:
    try:
        return ShopState.model_validate_json((shop.state / "service.json").read_bytes())
    except (FileNotFoundError, ValidationError):
        return None


def status_line(state: ShopState) -> str:
    """The shop in one line, for the service manager."""
    if state.paused:
        return f"Paused: {state.paused}"
    work = "; ".join(f"{w.name}: {w.stage} {w.done}/{w.total}" for w in state.working)
    counts = f"{len(state.waiting)} waiting, {state.ready_total} ready, {state.refused_total} refused"
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
