"""`keyturn status`: say what waits, is in work, is ready and was refused."""

from __future__ import annotations

import sys
import time
from typing import Annotated

import typer
from rich.console import Console

from keyturn.commands import job_status
from keyturn.commands.console import JsonOption, RootOption, out, shop_of
from keyturn.commands.job_status import JobStatus
from keyturn.commands.output import plain, write_json
from keyturn.outbox import shop_state
from keyturn.shop.reasons import Kind
from keyturn.shop.state_records import PLACES, PlaceCounts, ShopState

WATCH_EVERY_S = 2.0
MOST_JOBS = 10
"""So many jobs of each place are printed."""


def status(
    job: Annotated[
        str | None,
        typer.Argument(
            metavar="CODE", help="The code of a stick's label, or a job: how far that has come.", show_default=False
        ),
    ] = None,
    root: RootOption = None,
    as_json: JsonOption = False,
    watch: Annotated[bool, typer.Option("--watch", help="Show it again every two seconds, until Ctrl-C.")] = False,
) -> None:
    """Say what waits, what is in work, what is ready, what was refused, and whether the service runs.

    With the code of a stick's label, or a job, it says how far that job has come.

    Example: `keyturn status --root /srv/keyturn`
    """
    shop = shop_of(root)
    shop.require()
    while True:
        state = shop_state.current_state(shop) if job is None else job_status.of(shop, job)
        if as_json:
            shown = state.as_json() if isinstance(state, JobStatus) else state.model_dump(mode="json")
            write_json(shown, one_line=watch)
        else:
            out.clear() if watch else None
            job_status.print_status(out, state) if isinstance(state, JobStatus) else _print_state(out, state)
        if not watch:
            return
        sys.stdout.flush()
        time.sleep(WATCH_EVERY_S)


def _print_state(console: Console, state: ShopState) -> None:
    console.print(f"Service: {plain(_running(state)) if state.running else 'not running'}")
    if state.out_of_date:
        console.print(f"[bold red]Out of date:[/] {plain(state.out_of_date)}")
    if state.paused:
        console.print(f"[bold red]Paused:[/] {plain(state.paused)}")
    if state.settings_fault:
        console.print(f"[bold red]The settings stay as they were:[/] {plain(state.settings_fault)}")
    if state.removal_waits:
        console.print(f"[yellow]Nothing old is removed yet:[/] {plain(state.removal_waits)}")
    for drop in state.aside:
        console.print(f"[bold red]Set aside:[/] {plain(drop.name)}: {plain(drop.line())} ({plain(drop.place)})")
    for fault in state.hook_faults:
        console.print(f"[bold red]Hook failed:[/] {plain(fault)}")
    for working in state.working:
        console.print(f"In work: {plain(working.name)}, {plain(working.progress())}")
    _waiting(console, state)
    _jobs(console, state) if state.places else _ready(console, state)
    _fleets(console, state)
    _refused(console, state)


def _running(state: ShopState) -> str:
    process = f"running (process {state.pid})" if state.pid else "running"
    return f"{process}, {state.watching}" if state.watching else process


def _waiting(console: Console, state: ShopState) -> None:
    total = max(state.waiting_total, len(state.waiting))
    console.print(f"[bold]Waiting:[/] {total or 'none'}")
    for drop in state.waiting:
        note = f"rush, {drop.note}" if drop.rush else drop.note
        since = f", since {plain(drop.since)}" if drop.since else ""
        console.print(f"  {plain(drop.name)}: {drop.files} files{since}{', ' + plain(note) if note else ''}")
    if total > len(state.waiting):
        console.print(f"  and {total - len(state.waiting)} more")


def _jobs(console: Console, state: ShopState) -> None:
    """Print how many jobs stand in each place, and the first of them."""
    counts = state.places or PlaceCounts()
    for place, title in PLACES.items():
        total = getattr(counts, place)
        console.print(f"[bold]{title}:[/] {total or 'none'}")
        shown = [job for job in state.jobs if job.place == place][:MOST_JOBS]
        for job in shown:
            said = f": {plain(job.said)}" if job.said else ""
            since = f", since {plain(job.since)}" if job.since else ""
            console.print(f"  outbox/{plain(job.path)} for {plain(job.customer)}{since}{said}")
            job_status.print_vehicles(console, job)
        if total > len(shown):
            console.print(f"  and {total - len(shown)} more")
    if counts.fitted_earlier or counts.quiet:
        console.print(f"Fitted earlier: {counts.fitted_earlier}; made long ago and never spoken of: {counts.quiet}")


def _ready(console: Console, state: ShopState) -> None:
    console.print(f"[bold]Ready:[/] {state.ready_total or 'none'}")
    for job in state.ready[:20]:
        radios, vehicles = ", ".join(job.radios), f": {plain(', '.join(job.vehicles))}" if job.vehicles else ""
        console.print(f"  outbox/{plain(job.path)} for {plain(job.customer)} ({plain(radios)}){vehicles}")


def _fleets(console: Console, state: ShopState) -> None:
    """Print how many jobs were made of each fleet, and where those stand."""
    for fleet in state.fleets[:MOST_JOBS]:
        where = [f"{title}: {fleet.places[place]}" for place, title in PLACES.items() if place in fleet.places]
        stand = f" ({', '.join(where)})" if where else ""
        jobs = "1 job" if fleet.jobs == 1 else f"{fleet.jobs} jobs"
        console.print(f"[bold]Fleet {plain(fleet.drop)}:[/] {jobs}{stand}, made {plain(fleet.made_at)}")


def _refused(console: Console, state: ShopState) -> None:
    console.print(f"[bold]Refused:[/] {state.refused_total or 'none'}")
    for drop in state.refused[:20]:
        console.print(f"  {plain(drop.path)} ({plain(drop.rejected_at)})")
        for reason in (r for r in drop.reasons if r.kind is Kind.REFUSE):
            console.print(f"    {plain(reason.line())}")
