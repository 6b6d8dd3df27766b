"""`keyturn fitted`: note that a job was fitted into a vehicle, and how long the radio took to boot."""

from __future__ import annotations

from typing import Annotated

import typer

from keyturn.commands import job_search, slip_entry
from keyturn.commands.console import RootOption, out, shop_of
from keyturn.commands.job_search import FoundJob
from keyturn.commands.output import plain
from keyturn.commands.shown import note
from keyturn.shop.slips import Slip

SHORTEST_S, LONGEST_S = 0.1, 599.0


def fitted(
    job: Annotated[str, typer.Argument(help="A job (its newest revision), job-r2, or the path of a revision.")],
    by: Annotated[str | None, typer.Option(help="Who fitted it.", show_default="your login name")] = None,
    boot: Annotated[
        float | None,
        typer.Option(
            help="Seconds from the first picture of the animation to the home screen, by the watch.",
            min=SHORTEST_S,
            max=LONGEST_S,
        ),
    ] = None,
    vehicle: Annotated[
        str | None,
        typer.Option(help="Which vehicle: one of the job's, or in the shop's own words.", show_default=False),
    ] = None,
    radio: Annotated[str | None, typer.Option(help="Which radio, where the job is for several.")] = None,
    root: RootOption = None,
) -> None:
    """Note that a job is in its vehicle. Once all are, it leaves the board's list of what is to be fitted.

    Example: `keyturn fitted van-two --by Tobias --boot 18.2 --vehicle "van 2" --root /srv/keyturn`
    """
    found = job_search.find_job(job, lambda: shop_of(root))
    wanted = job_search.one_radio(found.record, radio)
    told = {"radio": wanted.radio, "vehicle": job_search.one_vehicle(found.record, vehicle), "boot_s": boot}
    told |= {"by": by} if by else {}
    slip = slip_entry.slip_for("fitted", found.folder, found.record, **told)
    note(found, slip)
    _print_left(found, slip)
    if boot is not None and found.shop is not None:
        out.print(f"To let boots by the watch count in the plans: keyturn calibrate {plain(wanted.radio)} --fitted")


def _print_left(found: FoundJob, slip: Slip) -> None:
    """Say which of the job's vehicles are still to be fitted."""
    if found.record.vehicles:
        done = {slip.vehicle, *(other.vehicle for other in slip_entry.entered(found.shop, found.folder, "fitted"))}
        left = [name for name in found.record.vehicles if not {name, ""} & done]
        out.print(f"Still to be fitted: {plain(', '.join(left)) or 'none'}.")
