"""`keyturn demo`: the sample inbox through the real service, then where to look."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from keyturn.commands.console import err, out
from keyturn.commands.output import plain
from keyturn.commands.run import obey_signals
from keyturn.manifest.models import FILE_NAME
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Kind
from keyturn.shop.records import Ready, RefusedDrop, Working

SAMPLES = Path(__file__).parents[1] / "sample_inbox"

_SETTINGS = """\
# The demo does not wait long: its drops are whole from the start.
scan_seconds = 1

[settle]
seconds = 1
"""


@dataclass(frozen=True, slots=True)
class Shown:
    shop: Shop
    ready: tuple[Ready, ...]
    refused: tuple[RefusedDrop, ...]


def demo(
    keep: Annotated[Path | None, typer.Option(help="Run the demo's shop in this folder.")] = None,
) -> None:
    """Run the sample inbox through the real service, and say where to look."""
    with Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), console=err, transient=True
    ) as bar:
        task = bar.add_task("starting", total=None)

        def told(working: Working | None) -> None:
            if working is None:
                bar.update(task, description="waiting for drops to lie still", total=None)
            else:
                words = f"{working.name}: {working.stage}"
                bar.update(task, description=words, completed=working.done, total=working.total or None)

        shown = run(keep, told, obey_signals)
    _print_shown(out, shown)


def run(keep: Path | None, told: Callable[[Working | None], None], stopper: Callable[[Service], None]) -> Shown:
    """Sets up a shop, drops the samples and runs its service until all are made or refused."""
    shop = Shop(keep.resolve() if keep else Path(tempfile.mkdtemp(prefix="keyturn-demo-")))
    shop.create()
    (shop.root / "keyturn.toml").write_text(_SETTINGS, encoding="utf-8")
    for sample in sorted(p.parent for p in SAMPLES.glob(f"*/{FILE_NAME}")):
        shutil.copytree(sample, shop.inbox / sample.name, dirs_exist_ok=True)
    service = Service(shop, told=told)
    stopper(service)
    service.run(until_quiet=True)
    state = service.state()
    return Shown(shop, state.ready, state.refused)


def _print_shown(console: Console, shown: Shown) -> None:
    outbox = shown.shop.outbox
    console.print()
    for job in sorted(shown.ready, key=lambda j: j.path):
        console.print(f"[green]ready[/]    {plain(job.job)} for {plain(job.customer)}")
        for stick in sorted((outbox / job.path).glob("usb*")):
            console.print(f"         stick {plain(str(stick))}")
        console.print(f"         sheet {plain(str((outbox / job.path).parent / 'proof.html'))}")
    for drop in shown.refused:
        console.print(
            f"[red]refused[/]  {plain(drop.name)}, see {plain(str(shown.shop.root / drop.path / 'REJECTED.html'))}"
        )
        for reason in (r for r in drop.reasons if r.kind is Kind.REFUSE):
            console.print(f"         {plain(reason.line())}")
    console.print(f"board    {plain(str(shown.shop.board))}")
