"""`keyturn labels`: a page of labels for a job's sticks, to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import job_search, output
from keyturn.commands.console import RootOption, err, rules_of, shop_of
from keyturn.shop import durable_files
from keyturn.shop.label_sheets import Labels, LabelSheet
from keyturn.shop.wrong_use import WrongUse


def labels(
    job: Annotated[str, typer.Argument(help="A job (its newest revision), job-r2, or the path of a revision.")],
    sheet: Annotated[
        str | None,
        typer.Option(
            help="The sheet of labels, or a4 or letter, as in rules/labels.toml.", show_default="the usual one"
        ),
    ] = None,
    first: Annotated[int, typer.Option(help="The first label that is still on the sheet.", min=1)] = 1,
    vehicle: Annotated[list[str] | None, typer.Option(help="For these vehicles alone.", show_default=False)] = None,
    radio: Annotated[str | None, typer.Option(help="For this radio alone.", show_default=False)] = None,
    to: Annotated[
        Path | None, typer.Option("--out", help="The page's file; <job>-r1-labels.html by default.", show_default=False)
    ] = None,
    root: RootOption = None,
) -> None:
    """Write a page to print with a label for each stick: customer, vehicle, radio, revision, and a code.

    `keyturn status CODE` says how far the job of a label has come.

    Example: `keyturn labels van-two --sheet a4-21 --root /srv/keyturn`
    """
    from keyturn.outbox import published_digests
    from keyturn.pages import labels as labels_page  # it makes pages, for which other commands need not wait
    from keyturn.shop import papers, settings

    found = job_search.find_job(job, lambda: shop_of(root))
    rules = rules_of(found.shop.root if found.shop else root).labels
    chosen = _sheet(rules, sheet, first)
    page = output.page_file(to or Path(f"{found.folder.name}-labels.html"))
    shown = papers.of_shop(settings.load(found.shop.root), found.shop.root).letterhead if found.shop else None
    text = labels_page.labels(
        found.record,
        published_digests.digest_of(found.folder) or "",
        found.folder.name,
        chosen,
        rules.papers[chosen.paper],
        vehicles=[job_search.one_vehicle(found.record, name) for name in vehicle or ()],
        radios=[job_search.one_radio(found.record, radio).radio] if radio else (),
        first=first,
        letterhead=shown,
    )
    durable_files.write_atomic(page, text.encode("utf-8"))
    err.print(f"The page: {output.plain(page.as_uri())}", soft_wrap=True)


def _sheet(rules: Labels, name: str | None, first: int) -> LabelSheet:
    """Return the sheet called `name`. Raise `WrongUse` where there is none, or it has no label of that number."""
    chosen = rules.sheet(name)
    if chosen is None:
        there = ", ".join(f"{each} ({sheet.columns} x {sheet.rows})" for each, sheet in rules.sheets.items())
        raise WrongUse(f"there is no sheet of labels called {name}", f"say --sheet with one of: {there}")
    if first > chosen.most:
        raise WrongUse(f"that sheet has {chosen.most} labels", "say --first with a smaller number")
    return chosen
