"""`keyturn demo`: run the sample inbox through the real service, answer and mend a job, and say where to look."""

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

from keyturn.commands import slip_entry
from keyturn.commands.console import err, out
from keyturn.commands.output import plain
from keyturn.commands.run import obey_signals
from keyturn.manifest.models import FILE_NAME
from keyturn.outbox import record_files
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Kind
from keyturn.shop.state_records import PLACES, PlacedJob, Ready, RefusedDrop, Working
from keyturn.shop.wrong_use import WrongUse

SAMPLES = Path(__file__).parents[1] / "sample_inbox"

_SETTINGS = """\
# The demo waits only briefly: its drops are complete from the start.
scan_seconds = 1

[settle]
seconds = 1
doubt_seconds = []
"""


ANSWERED = "van-two"
"""The sample whose customer says yes."""

MENDS = {"tall-768x1042": "tall-768x1024", "backgroud": "background"}
"""What is misspelt in the manifest of the sample that is refused."""

Told = Callable[[Working | None], None]
Prepare = Callable[[Service], None]


@dataclass(frozen=True, slots=True)
class DemoOutcome:
    """The demo's shop, and what became of the samples. `jobs` are in their places once one of them was answered."""

    shop: Shop
    ready: tuple[Ready, ...]
    refused: tuple[RefusedDrop, ...]
    jobs: tuple[PlacedJob, ...] = ()
    mended: tuple[str, ...] = ()


def demo(
    keep: Annotated[Path | None, typer.Option(help="Run the demo's shop in this new folder.")] = None,
    show: Annotated[bool, typer.Option("--open", help="Show the board in the browser at the end.")] = False,
) -> None:
    """Run the sample inbox through the real service, and say where to look.

    One job is approved by an answer laid in the inbox, one refused drop is mended and goes again, the others wait for
    their customers.
    """
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

        outcome = play_on(run_samples(keep, told, obey_signals), told, obey_signals)
    _print_outcome(out, outcome)
    if show and not _opens(outcome.shop.board):
        err.print("[yellow]No browser was found here.[/] Open the board's link by hand.")


def run_samples(keep: Path | None, told: Told, prepare: Prepare) -> DemoOutcome:
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
    return DemoOutcome(shop, *_served(shop, told, prepare)[:2])


def play_on(first: DemoOutcome, told: Told, prepare: Prepare) -> DemoOutcome:
    """Answer one job and mend a refused drop, both through the inbox, and run the service once more."""
    shop, mended = first.shop, []
    for drop in first.refused:
        if _mend(shop.root / drop.path):
            (shop.root / drop.path).rename(shop.inbox / drop.name)
            mended.append(drop.name)
    for job in first.ready:
        if job.job == ANSWERED:
            _answer(shop, job)
    return DemoOutcome(shop, *_served(shop, told, prepare), mended=tuple(mended))


def _served(
    shop: Shop, told: Told, prepare: Prepare
) -> tuple[tuple[Ready, ...], tuple[RefusedDrop, ...], tuple[PlacedJob, ...]]:
    """Run the shop's service until nothing is left to do. Return what it has ready, what it refused, and the jobs."""
    service = Service(shop, on_progress=told)
    prepare(service)
    service.run(until_quiet=True)
    state = service.state()
    return state.ready, state.refused, state.jobs


def _answer(shop: Shop, job: Ready) -> None:
    """Lay the customer's yes in the inbox, as somebody does who has it from a mail."""
    revision = shop.outbox / job.path
    record = record_files.read_job(revision)
    if record is not None:
        slip = slip_entry.slip_for("answer", revision, record, answer="yes", by="Ada Lindqvist")
        slip_entry.put_into(shop.inbox, slip)


def _mend(folder: Path) -> bool:
    """Mend what is wrong with the refused sample, as its artist would. Return False for any other folder."""
    manifest, steps = folder / FILE_NAME, folder / "steps"
    if not steps.is_dir() or not manifest.is_file():
        return False
    text = manifest.read_text(encoding="utf-8")
    for wrong, right in MENDS.items():
        text = text.replace(wrong, right)
    manifest.write_text(text, encoding="utf-8")
    (steps / "step 03 (1).png").unlink(missing_ok=True)
    shutil.copyfile(steps / "step 04.png", steps / "step 05.png")
    return True


def _opens(board: Path) -> bool:
    """Show the board in a browser. Return False where there is none."""
    import webbrowser

    try:
        return webbrowser.open(board.as_uri())
    except (webbrowser.Error, OSError):
        return False


def _link(path: Path) -> str:
    """Return the path as a link for rich: on a terminal it can be clicked, elsewhere it is the address alone."""
    address = path.as_uri()
    return f"[link={address}]{plain(address)}[/link]"


def _print_outcome(console: Console, outcome: DemoOutcome) -> None:
    outbox = outcome.shop.outbox
    stands = {job.path: job for job in outcome.jobs}
    console.print()
    for job in sorted(outcome.ready, key=lambda j: j.path):
        placed = stands.get(job.path)
        where = f": {PLACES[placed.place].lower()}" if placed else ""
        where += f" ({plain(placed.said)})" if placed and placed.said else ""
        console.print(f"[green]ready[/]    {plain(job.job)} for {plain(job.customer)}{where}")
        for stick in sorted((outbox / job.path).glob("usb*")):
            console.print(f"         stick {_link(stick)}")
        console.print(f"         sheet {_link((outbox / job.path).parent / 'proof.html')}")
    for name in outcome.mended:
        console.print(f"[green]mended[/]   {plain(name)} was refused at first, and went again through the inbox")
    for drop in outcome.refused:
        page = outcome.shop.root / drop.path / "REJECTED.html"
        console.print(f"[red]refused[/]  {plain(drop.name)}, see {_link(page)}")
        for reason in (r for r in drop.reasons if r.kind is Kind.REFUSE):
            console.print(f"         {plain(reason.line())}")
    console.print(f"board    {_link(outcome.shop.board)}")
