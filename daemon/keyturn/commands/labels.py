"""`keyturn labels`: a page of labels for a job's sticks, to print."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import fleet_search, job_search, output
from keyturn.commands.console import RootOption, err, rules_of, shop_of
from keyturn.commands.job_search import FoundJob
from keyturn.shop import durable_files
from keyturn.shop.file_names import safe_name
from keyturn.shop.label_sheets import Labels, LabelSheet, Paper
from keyturn.shop.wrong_use import WrongUse


def labels(
    job: Annotated[
        str, typer.Argument(help="A job (its newest revision), job-r2, the path of a revision, or a fleet's drop.")
    ],
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
    jobs = fleet_search.find_jobs(job, lambda: shop_of(root))
    shop = jobs[0].shop
    rules = rules_of(shop.root if shop else root).labels
    chosen = _sheet(rules, sheet, first)
    title = jobs[0].record.job if len(jobs) == 1 else job
    page = output.page_file(to or Path(f"{jobs[0].folder.name if len(jobs) == 1 else safe_name(job)}-labels.html"))
    text = _page(title, jobs, vehicle or (), radio, chosen, rules.papers[chosen.paper], first)
    durable_files.write_atomic(page, text.encode("utf-8"))
    err.print(f"The page: {output.plain(page.as_uri())}", soft_wrap=True)


def _page(
    title: str,
    jobs: Sequence[FoundJob],
    vehicles: Sequence[str],
    radio: str | None,
    sheet: LabelSheet,
    paper: Paper,
    first: int,
) -> str:
    """Return the page, in the language of the shop whose jobs these are."""
    from keyturn.outbox import published_digests
    from keyturn.pages.labels import labels_of, labels_page  # it makes pages, for which other commands need not wait
    from keyturn.shop import papers, settings

    shop = jobs[0].shop
    letterhead = papers.of_shop(settings.load(shop.root), shop.root).letterhead if shop else None
    made = [
        label
        for found, chosen in fleet_search.with_vehicles(jobs, vehicles)
        for label in labels_of(
            found.record,
            published_digests.digest_of(found.folder) or "",
            found.folder.name,
            chosen,
            [job_search.one_radio(found.record, radio).radio] if radio else (),
        )
    ]
    return labels_page(title, made, sheet, paper, first=first, letterhead=letterhead)


def _sheet(rules: Labels, name: str | None, first: int) -> LabelSheet:
    """Return the sheet called `name`. Raise `WrongUse` where there is none, or it has no label of that number."""
    chosen = rules.sheet(name)
    if chosen is None:
        there = ", ".join(f"{each} ({sheet.columns} x {sheet.rows})" for each, sheet in rules.sheets.items())
        raise WrongUse(f"there is no sheet of labels called {name}", f"say --sheet with one of: {there}")
    if first > chosen.most:
        raise WrongUse(f"that sheet has {chosen.most} labels", "say --first with a smaller number")
    return chosen
