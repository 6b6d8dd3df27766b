"""How far one job has come: the job that a label's code names, or one by its name."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from keyturn.commands.output import plain
from keyturn.outbox import record_files, shop_state
from keyturn.outbox.customer_folder import revision_names
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import label_code
from keyturn.shop.folders import Shop
from keyturn.shop.label_code import LabelCode
from keyturn.shop.own_files import is_plain_folder
from keyturn.shop.state_records import PLACES, PlacedJob
from keyturn.shop.wrong_use import WrongUse


@dataclass(frozen=True, slots=True)
class JobStatus:
    """A job as it stands; of a label also the number of its revision, and the vehicle that it is for, or ""."""

    job: PlacedJob
    label_revision: int | None = None
    label_vehicle: str = ""

    @property
    def is_older(self) -> bool:
        """Tell whether the label is of an older revision than the newest."""
        return self.label_revision is not None and self.label_revision < self.job.revision

    def as_json(self) -> dict[str, object]:
        """Return what programs are told."""
        label = {"revision": self.label_revision, "older": self.is_older, "vehicle": self.label_vehicle}
        return {"job": self.job.model_dump(mode="json"), "label": label if self.label_revision else None}


def of(shop: Shop, asked: str) -> JobStatus:
    """Return how the job stands that `asked` names: a label's code, or what `job_search.find_job` takes.

    Raise `WrongUse` where there is no such job, or the code is of none of this shop's revisions.
    """
    code = label_code.parsed(asked)
    if code is None:
        from keyturn.commands import job_search  # it knows sticks and mounts, which are nothing to the whole shop

        found = job_search.find_job(asked, lambda: shop)
        return JobStatus(shop_state.placed(shop, found.folder, found.record))
    customer, number = _labelled(shop, code)
    labelled = record_files.read_job(customer / code.name)
    vehicles = labelled.vehicles if labelled else ()
    newest = _newest(customer, code)
    if newest is None:
        raise WrongUse(f"no revision of {code.name} is in the outbox any more", "look whether it was taken away")
    record = record_files.read_job(newest)
    if record is None:
        raise WrongUse(f"{newest} has no readable job.json", "make the job again")
    vehicle = vehicles[code.vehicle - 1] if 0 < code.vehicle <= len(vehicles) else ""
    return JobStatus(shop_state.placed(shop, newest, record), number, vehicle)


def _labelled(shop: Shop, code: LabelCode) -> tuple[Path, int]:
    """Return the customer's folder and the number of the revision that the code is of. Raise `WrongUse` where it is of
    none that was ever published here."""
    from keyturn.outbox import published_digests

    named = job_and_number(code.name)
    for customer in sorted(filter(is_plain_folder, shop.outbox.iterdir())) if named else ():
        digest = published_digests.recorded(shop.published, f"{customer.name}/{code.name}")
        if named and digest is not None and digest.startswith(code.digest):
            return customer, named[1]
    raise WrongUse(
        f"the code of {code.name} is of no revision that this shop has made",
        "look whether the label is another shop's, or was printed before the revision was made anew by hand",
    )


def _newest(customer: Path, code: LabelCode) -> Path | None:
    wanted, _ = job_and_number(code.name) or ("", 0)
    numbers = {
        named[1]: name for name in revision_names(customer) if (named := job_and_number(name)) and named[0] == wanted
    }
    return customer / numbers[max(numbers)] if numbers else None


def print_status(console: Console, found: JobStatus) -> None:
    """Print it for people."""
    job, of_label = found.job, f", {found.label_vehicle}" if found.label_vehicle else ""
    if found.is_older:
        console.print(
            f"[bold red]An older revision:[/] the label is of revision {found.label_revision}{plain(of_label)}; "
            f"the newest is revision {job.revision}. Make its stick anew."
        )
    elif found.label_revision:
        console.print(f"The label is of the newest revision, {found.label_revision}{plain(of_label)}.")
    console.print(f"{plain(job.job)}, revision {job.revision}, for {plain(job.customer)} (outbox/{plain(job.path)})")
    said = f": {plain(job.said)}" if job.said else ""
    since = f", since {plain(job.since)}" if job.since else ""
    console.print(f"[bold]{PLACES[job.place]}[/]{since}{said}")
    print_vehicles(console, job)


def print_vehicles(console: Console, job: PlacedJob) -> None:
    """Print a line for each vehicle of the job."""
    for line in job.lines:
        words = f": {line.words}" if line.place else ""
        since = f", since {plain(line.since)}" if line.since else ""
        said = f", {plain(line.said)}" if line.said else ""
        console.print(f"    {plain(line.name)}{words}{since}{said}")
