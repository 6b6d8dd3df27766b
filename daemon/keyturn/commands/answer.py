"""`keyturn answer`: note what a customer said at the counter or on the phone."""

from __future__ import annotations

from typing import Annotated, Literal

import typer
from loguru import logger
from rich.console import Console

from keyturn.commands import job_search, slip_entry
from keyturn.commands.console import RootOption, out, shop_of
from keyturn.commands.job_search import FoundJob
from keyturn.commands.output import plain
from keyturn.shop.reasons import Refused, ShopFault
from keyturn.shop.slips import NOTE_MOST, Slip
from keyturn.shop.wrong_use import WrongUse


def answer(
    job: Annotated[str, typer.Argument(help="A job (its newest revision), job-r2, or the path of a revision.")],
    said: Annotated[Literal["yes", "change"], typer.Argument(help="What the customer said.")],
    by: Annotated[str, typer.Option(help="Who said so: the customer's name.")],
    note: Annotated[str, typer.Option(help="What is to be changed, or anything else that was said.")] = "",
    root: RootOption = None,
) -> None:
    """Note a customer's answer as if it had come from the sheet. It is a record, not a signature.

    Example: `keyturn answer van-two yes --by "Marta Lindqvist" --root /srv/keyturn`
    """
    from keyturn.service import slip_intake  # it draws sheets, for which other commands need not wait

    if not by.strip():
        raise WrongUse("--by names nobody", "say who answered")
    if said == "change" and not note.strip():
        raise WrongUse("a change needs --note", "say what is to be changed")
    if len(note) > NOTE_MOST:
        raise WrongUse(f"--note has more than {NOTE_MOST:,} characters", "say it in fewer words")
    found = job_search.find_job(job, lambda: shop_of(root))
    told = {"by": by.strip(), "note": note.strip(), "answer": said}
    slip = slip_entry.slip_for("answer", found.folder, found.record, **told)
    if (reason := slip_intake.misfit(slip, found.folder)) is not None:
        raise Refused([reason])
    where = slip_entry.enter(found.shop, found.folder, slip)
    if where == slip_entry.WRITTEN:
        _write_sheet(found)
    _print_noted(out, slip, where)


def _print_noted(to: Console, slip: Slip, where: str) -> None:
    words = "said yes" if slip.answer == "yes" else "asked for a change"
    to.print(f"{plain(slip.path)}: {plain(slip.by)} {words}; {where}.")


def _write_sheet(found: FoundJob) -> None:
    """Write the customer's sheet anew. The answer stands, whether or not that can be done."""
    from keyturn.outbox import sheets
    from keyturn.shop import papers, rulebook, settings
    from keyturn.shop.file_modes import group_reads

    if found.shop is None:
        return
    shop = found.shop
    try:
        with group_reads():
            shown = papers.of_shop(settings.load(shop.root), shop.root)
            sheets.write_sheet(shop.outbox, found.folder.parent.name, rulebook.load(shop.rules), shown)
    except (OSError, ShopFault) as error:
        logger.warning("the answer is noted; the sheet will show it when it is next written: {}", error)
