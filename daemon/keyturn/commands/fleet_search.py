"""Find the jobs that were made of a fleet's rows, by the name of its drop."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from keyturn.commands import job_search
from keyturn.commands.job_search import FoundJob
from keyturn.outbox import record_files
from keyturn.outbox.customer_folder import RECORD_MOST_BYTES, revision_names
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.bounded_record import Record, parsed
from keyturn.shop.folders import Shop
from keyturn.shop.own_files import is_plain_folder
from keyturn.shop.wrong_use import WrongUse


class _MadeOf(Record):
    """What a job.json says of the drop that it was made of."""

    drop: str
    claim: str
    row: int = 0


def find_jobs(name: str, shop_of: Callable[[], Shop]) -> tuple[FoundJob, ...]:
    """Return the one job that `name` names as `job_search.find_job` takes it. Where it names none, return the newest
    revision of each job of the fleet whose drop is called so, in the order of its rows. Raise as `find_job` does."""
    try:
        return (job_search.find_job(name, shop_of),)
    except WrongUse as wrong:
        shop = None if "/" in name else shop_of()
        found = [job_search.find_job(str(path), shop_of) for path in _of_fleet(shop.outbox, name)] if shop else []
        if not found:
            raise wrong from None
        return tuple(found)


def with_vehicles(jobs: Sequence[FoundJob], vehicles: Sequence[str]) -> list[tuple[FoundJob, tuple[str, ...]]]:
    """Return the jobs that have any of the vehicles, and which; all of the jobs, each with (), where none is named.

    Raise `WrongUse` for a vehicle that none of them has.
    """
    if len(jobs) == 1 or not vehicles:
        return [(job, tuple(job_search.one_vehicle(job.record, name) for name in vehicles)) for job in jobs]
    chosen = [(job, tuple(filter(None, (job_search.named_vehicle(job.record, v) for v in vehicles)))) for job in jobs]
    for name in vehicles:
        if not any(job_search.named_vehicle(job.record, name) for job in jobs):
            raise WrongUse(
                f"no job of this fleet has a vehicle {name}", "look in the fleet's table what they are called"
            )
    return [(job, names) for job, names in chosen if names]


def _of_fleet(outbox: Path, drop: str) -> list[Path]:
    """Return the newest revision of each job that was made of the drop's rows when it was last taken."""
    rows: list[tuple[str, int, Path, str]] = []
    newest: dict[tuple[Path, str], tuple[int, Path]] = {}
    for customer in filter(is_plain_folder, outbox.iterdir() if outbox.is_dir() else ()):
        if customer.name.startswith("."):
            continue
        for name in revision_names(customer):
            job, number = job_and_number(name) or ("", 0)
            newest[customer, job] = max(newest.get((customer, job), (0, customer)), (number, customer / name))
            made = _made_of(customer / name)
            if made is not None and made.row and made.drop == drop:
                rows.append((made.claim, made.row, customer, job))
    last = max((claim for claim, *_ in rows), default="")  # a claim's id begins with the time at which it was taken
    jobs = dict.fromkeys((customer, job) for claim, _, customer, job in sorted(rows) if claim == last)
    return [newest[each][1] for each in jobs if record_files.read_job(newest[each][1]) is not None]


def _made_of(revision: Path) -> _MadeOf | None:
    try:
        data = durable_files.read_plain(revision / "job.json", RECORD_MOST_BYTES)
        return parsed(data, _MadeOf) if data else None
    except (OSError, ValueError):
        return None
