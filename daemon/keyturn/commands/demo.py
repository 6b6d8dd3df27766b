"""`keyturn demo`: run the sample inbox through the real service, and say where to look."""

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
from keyturn.shop.state_records import Ready, RefusedDrop, Working
from keyturn.shop.wrong_use import WrongUse

SAMPLES = Path(__file__).parents[1] / "sample_inbox"

_SETTINGS = """\
# The demo waits only briefly: its drops are complete from the start.
scan_seconds = 1

[settle]
seconds = 1
doubt_seconds = []
"""


@dataclass(frozen=True, slots=True)
class DemoOutcome:
    """The demo's shop, and what became of the samples."""

    shop: Shop
    ready: tuple[Ready, ...]
    refused: tuple[RefusedDrop, ...]


def demo(
    keep: Annotated[Path | None, typer.Option(help="Run the demo's shop in this new folder.")] = None,
) -> None:
    """Run the sample inbox through the real service, and say where to look."""
    with Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), console=err, transient=True
    ) as bar:
        task = bar.add_task("starting", total=None)

        def told(working: Working | None) -> None:
            if working is None:
                bar.update(task, description="waiting until the drops are complete", total=None)
            else:
                words = plain(f"{working.name}: {working.stage}")
                bar.update(task, description=words, completed=working.done, total=working.total or None)

        outcome = run_samples(keep, told, obey_signals)
    _print_outcome(out, outcome)


def run_samples(
    keep: Path | None, told: Callable[[Working | None], None], prepare: Callable[[Service], None]
) -> DemoOutcome:
    """Set up a shop in `keep` or a temporary folder, and run its service until every sample is made or refused.

    `told` is called with the drop in work, and `prepare` with the service before it runs. Raise `WrongUse` where `keep`
    holds anything: it may be a real shop.
    """
    if keep is not None and (keep.is_symlink() or keep.exists()) and not (keep.is_dir() and not any(keep.iterdir())):
        raise WrongUse(f"{keep} is there already, and the demo makes a shop of its own", "name a new or empty folder")
    shop = Shop(keep.resolve() if keep else Path(tempfile.mkdtemp(prefix="keyturn-demo-")))
    shop.create()
    (shop.root / "keyturn.toml").write_text(_SETTINGS, encoding="utf-8")
    for sample in sorted(p.parent for p in SAMPLES.glob(f"*/{FILE_NAME}")):
        shutil.copytree(sample, shop.inbox / sample.name, dirs_exist_ok=True)
    service = Service(shop, on_progress=told)
    prepare(service)
    service.run(until_quiet=True)
    state = service.state()
    return DemoOutcome(shop, state.ready, state.refused)


def _print_outcome(console: Console, outcome: DemoOutcome) -> None:
    outbox = outcome.shop.outbox
    console.print()
    for job in sorted(outcome.ready, key=lambda j: j.path):
        console.print(f"[green]ready[/]    {plain(job.job)} for {plain(job.customer)}")
        for stick in sorted((outbox / job.path).glob("usb*")):
            console.print(f"         stick {plain(str(stick))}")
        console.print(f"         sheet {plain(str((outbox / job.path).parent / 'proof.html'))}")
    for drop in outcome.refused:
        console.print(
            f"[red]refused[/]  {plain(drop.name)}, see {plain(str(outcome.shop.root / drop.path / 'REJECTED.html'))}"
        )
        for reason in (r for r in drop.reasons if r.kind is Kind.REFUSE):
            console.print(f"         {plain(reason.line())}")
    console.print(f"board    {plain(str(outcome.shop.board))}")
