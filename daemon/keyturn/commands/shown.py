"""`keyturn shown`: note to whom a job's sheet was shown."""

from __future__ import annotations

from typing import Annotated

import typer

from keyturn.commands import job_search, output, slip_entry
from keyturn.commands.console import RootOption, out, shop_of
from keyturn.commands.job_search import FoundJob
from keyturn.shop.slips import WORDS_MOST, Slip


def shown(
    job: Annotated[str, typer.Argument(help="A job (its newest revision), job-r2, or the path of a revision.")],
    to: Annotated[str, typer.Option(help="Who saw the sheet.")],
    root: RootOption = None,
) -> None:
    """Note that a customer was shown the sheet, so that the board says since when an answer is waited for.

    Example: `keyturn shown van-two --to "Marta Lindqvist" --root /srv/keyturn`
    """
    found = job_search.find_job(job, lambda: shop_of(root))
    note(found, slip_entry.slip_for("shown", found.folder, found.record, note=to[:WORDS_MOST]))


def note(found: FoundJob, slip: Slip) -> None:
    """Enter the slip, and say of which job, and where it went."""
    where = slip_entry.enter(found.shop, found.folder, slip)
    out.print(f"{output.plain(slip.kind)}: {output.plain(slip.path)}, {where}.")
