"""Find a finished job by its name, the newest revision of it, or by a path."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from keyturn.commands.stick_copy import StickFolder
from keyturn.outbox import published_digests, record_files
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import JobRecord, RadioRecord
from keyturn.shop.wrong_use import WrongUse

RECORD = "job.json"


@dataclass(frozen=True, slots=True)
class FoundJob:
    """A revision: its folder and record, and the shop whose it is; None where it lies in no shop."""

    folder: Path
    record: JobRecord
    shop: Shop | None


def find_job(name: str, shop_of: Callable[[], Shop]) -> FoundJob:
    """Return the revision that `name` names: as `find` takes it, or a revision's path. `shop_of` is asked for the shop
    where a name is no path. Raise as `find` does."""
    named = Path(name)
    if (named / RECORD).is_file():
        folder = named.resolve()
        shop = shop_around(folder)
    else:
        shop = shop_of()
        folder = _revision(shop.outbox, name)
    record = _record(folder)
    check_published(folder, [shop] if shop else [])
    return FoundJob(folder, record, shop)


def shop_around(revision: Path) -> Shop | None:
    """Return the shop in whose outbox the folder of the revision lies; None where it is in none."""
    return _shop_of(revision.resolve(), ())


def _shop_of(place: Path, shops: Sequence[Shop]) -> Shop | None:
    """Return which of `shops`, and of the one around the revision's folder `place`, has it in its outbox."""
    for shop in (*shops, *(Shop(above) for above in place.parents[2:3])):
        if shop.state.is_dir() and shop.outbox.resolve() == place.parent.parent:
            return shop
    return None


def one_radio(job: JobRecord, radio: str | None) -> RadioRecord:
    """Return the job's only radio, or the one called `radio`. Raise `WrongUse` where that is none, or not said."""
    fitting = [r for r in job.radios if radio in (None, r.radio)]
    if len(fitting) != 1:
        there = ", ".join(r.radio for r in job.radios)
        what = f"this job has no radio {radio}" if radio else "this job is for several radios"
        raise WrongUse(what, f"say --radio with one of: {there}")
    return fitting[0]


def one_vehicle(job: JobRecord, vehicle: str | None) -> str:
    """Return the job's only vehicle, or the one called `vehicle`, capitals aside. Of a job that names none it may be
    any. Raise `WrongUse` where that is none, or not said."""
    if not job.vehicles:
        return vehicle or ""
    found = named_vehicle(job, vehicle) if vehicle is not None else None
    if vehicle is None and len(job.vehicles) == 1:
        return job.vehicles[0]
    if found is None:
        what = f"this job has no vehicle {vehicle}" if vehicle else "this job is for several vehicles"
        raise WrongUse(what, f"say --vehicle with one of: {', '.join(job.vehicles)}")
    return found


def named_vehicle(job: JobRecord, vehicle: str) -> str | None:
    """Return which of the job's vehicles is called `vehicle`, capitals and blanks aside; None where none is."""
    wanted = vehicle.casefold().split()
    return next((name for name in job.vehicles if name.casefold().split() == wanted), None)


def find(outbox: Path, name: str, radio: str | None) -> StickFolder:
    """Return the folder that goes on the stick, of the revision called `name`.

    `name` is "customer/job-r2" or "job-r2"; "customer/job" or "job" is its newest revision. Raise
    `WrongUse` where no revision or several have that name, or where one of several radios must be named. Raise
    `ShopFault` where the revision's job.json cannot be read.
    """
    return _stick_folder(_revision(outbox, name), radio, Shop(outbox.parent))


def find_direct(path: str, radio: str | None) -> StickFolder | None:
    """Return what goes on the stick where `path` is a revision's folder or one of its folders for a stick.

    No shop is needed for it. Return None where it is neither. Raise as `find` does.
    """
    named = Path(path)
    if (named / RECORD).is_file():
        return _stick_folder(named.resolve(), radio)
    revision = named.resolve().parent if named.is_dir() else None
    if revision is None or not (revision / RECORD).is_file():
        return None
    job = _record(revision)
    fitting = [r.radio for r in job.radios if r.folder == named.resolve().name and radio in (None, r.radio)]
    if not fitting:
        there = ", ".join(r.folder for r in job.radios)
        raise WrongUse(f"{named} is no folder for a stick", f"this revision's are: {there}")
    return _stick_folder(revision, fitting[0])


def _stick_folder(folder: Path, radio: str | None, *shops: Shop) -> StickFolder:
    job = _record(folder)
    check_published(folder, shops)
    wanted = one_radio(job, radio)
    return StickFolder(job, wanted, folder / wanted.folder)


def _record(folder: Path) -> JobRecord:
    job = record_files.read_job(folder)
    if job is None:
        raise ShopFault(f"{folder} has no readable {RECORD}", "name a revision's folder in the outbox")
    return job


def check_published(
    folder: Path, shops: Sequence[Shop], record: str = RECORD, again: str = "make the job again"
) -> None:
    """Raise `ShopFault` where the revision lies in a shop's outbox and is not as that shop's service published it.

    The shop is one of `shops` or the one around the folder. The shop's people may write in the outbox, and `record`
    says which files go on the stick. `again` is what helps.
    """
    place = folder.resolve()
    shop = _shop_of(place, shops)
    if shop is None:
        return
    known = published_digests.recorded(shop.published, f"{place.parent.name}/{place.name}")
    if known is None:
        raise ShopFault(f"{folder} was not published by this shop's service", again)
    if known != published_digests.digest_of(place):
        other = ", or take another revision" if record == RECORD else ""
        raise ShopFault(f"{folder / record} is not as the service wrote it", again + other)


def _revision(outbox: Path, name: str) -> Path:
    if (outbox / name / RECORD).is_file():
        return (outbox / name).resolve()
    folders = sorted(outbox.iterdir()) if outbox.is_dir() else []
    customers = [folder for folder in folders if folder.is_dir() and not folder.name.startswith(".")]
    every = [(job, number, path) for customer in customers for job, number, path in record_files.revisions(customer)]
    exact = [path for _, _, path in every if path.name == name]
    by_number = sorted(every, key=lambda revision: revision[1])
    newest = {path.parent: path for job, _, path in by_number if name in (job, f"{path.parent.name}/{job}")}
    found = exact or list(newest.values())
    if len(found) == 1:
        return found[0]
    if found:
        said = ", ".join(p.relative_to(outbox).as_posix() for p in found)
        raise WrongUse(f'several customers have a job "{name}"', f"say which: {said}")
    near = ", ".join(p.relative_to(outbox).as_posix() for _, _, p in every[-5:])
    mend = f"the outbox holds, among others: {near}" if near else f"{outbox} holds no job yet: wait for one"
    raise WrongUse(f'there is no job "{name}" in the outbox', mend)
