"""`keyturn make`: one drop, without a shop. What is printed of it is the same for `keyturn check`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from keyturn.commands import make_by_hand, output
from keyturn.commands.console import RootOption, err, out, rules_of, shop_of
from keyturn.commands.make_by_hand import Result
from keyturn.commands.output import plain, reasons
from keyturn.package import PRELOAD
from keyturn.pipeline import Bench, frame_crew
from keyturn.shop import settings
from keyturn.shop.reasons import Reason
from keyturn.shop.records import JobRecord, TimelineRecord
from keyturn.workers.crew import LocalCrew


def make(
    drop: Annotated[Path, typer.Argument(help="A drop: a folder, or a zip of one.")],
    to: Annotated[Path, typer.Option("--out", help="Where the revision goes.")],
    root: RootOption = None,
) -> None:
    """Make one drop, without a shop.

    Example: `keyturn make ./van-two --out ./ready`
    """
    with bench_of(root) as bench:
        result = make_by_hand.make(drop, to, bench)
    print_made(out, result)


@contextmanager
def bench_of(root: Path | None, quiet: bool = False) -> Iterator[Bench]:
    rules = rules_of(root)
    wanted = settings.load(shop_of(root).root) if root else settings.Settings()
    here = wanted.crew == "local"  # then on every core, for somebody waits
    crew = LocalCrew(0, rules.intake.workers, PRELOAD) if here else frame_crew(wanted, rules)
    try:
        crew.wake()  # before the progress bar's thread starts, see `forking`
        with output.progress(err, quiet) as progress:
            yield Bench(rules, crew, lambda: datetime.now(UTC), progress=progress)
    finally:
        crew.close()


def print_made(console: Console, result: Result) -> None:
    record = result.made.record
    for radio in record.radios:
        frames = sum(p.frames for p in radio.parts)
        size = f"{frames} frames, {radio.fps} fps, {radio.zip_bytes / 2**20:.1f} MiB"
        console.print(f"[bold]{plain(record.job)}[/] for {plain(radio.radio)}: {size}; {_timing(radio.timeline)}")
        if result.folder:
            console.print(f"  stick: {plain(str(result.folder / radio.folder))}")
    if result.sheet:
        console.print(f"  sheet: {plain(str(result.sheet))}")
    reasons(console, dict.fromkeys(all_reasons(record)))


def _timing(timing: TimelineRecord) -> str:
    if timing.once_only_s == 0:
        return "it plays until the radio has booted"
    ends = f"the parts that play once end at {timing.once_only_s:.1f} s"
    return f"{ends}, in {timing.share_finished:.0%} of starts before the radio has booted"


def all_reasons(record: JobRecord) -> tuple[Reason, ...]:
    """The job's reasons and its radios'; with several radios each says whose it is."""
    if len(record.radios) == 1:
        return record.reasons + record.radios[0].reasons
    told = [r.model_copy(update={"what": f"{o.radio}: {r.what}"}) for o in record.radios for r in o.reasons]
    return record.reasons + tuple(told)
