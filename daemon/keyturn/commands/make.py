"""`keyturn make`: make one drop without a shop. `keyturn check` works and prints in the same way."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from keyturn.commands import make_by_hand, output
from keyturn.commands.console import RootOption, err, out, shop_if_any
from keyturn.commands.make_by_hand import MadeByHand
from keyturn.commands.output import plain, reasons
from keyturn.package import PRELOAD
from keyturn.pipeline import Bench, frame_crew, kept_results
from keyturn.shop import papers, rulebook, settings
from keyturn.shop.folders import Shop
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Reason
from keyturn.shop.records import JobRecord, TimelineRecord
from keyturn.shop.shop_fonts import NO_FONTS, ShopFonts
from keyturn.shop.units import readable_size
from keyturn.shop.user_cache import user_cache
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
    if result.refused is not None:
        raise result.refused


@contextmanager
def bench_of(root: Path | None, quiet: bool = False) -> Iterator[Bench]:
    """Yield what one drop is made with: the shop's rules or those that ship, workers, a progress bar."""
    shop = shop_if_any(root)
    rules = rulebook.load(shop.rules if shop else None)
    wanted = settings.load(shop.root) if shop else settings.without_shop()
    here = wanted.crew == "local"  # somebody waits for it: all cores work, whatever `workers` says
    crew = LocalCrew(0, rules.intake.workers, PRELOAD) if here else frame_crew(wanted, rules)
    try:
        crew.wake()  # before the progress bar starts a thread, see `workers.process_start`
        with output.progress(err, quiet) as progress:
            paper = papers.of_shop(wanted, shop.root) if shop else papers.Papers()
            kept_in = _kept_in(shop)
            kept = kept_results(kept_in, wanted.keep) if kept_in else None
            fonts = ShopFonts(shop.fonts) if shop else NO_FONTS
            bench = Bench(rules, crew, lambda: datetime.now(UTC), Progress(progress), paper, kept, fonts=fonts)
            yield bench.for_one_drop()
    finally:
        crew.close()


def _kept_in(shop: Shop | None) -> Path | None:
    """Return the folder of what was made before: the shop's where its user asks, else that user's own.

    What root or a member of the group left in the shop's, the service could not read or remove. None for a user
    without a home.
    """
    if shop and shop.state.is_dir() and shop.state.stat().st_uid == os.geteuid():
        return shop.kept
    return user_cache()


def print_made(console: Console, result: MadeByHand) -> None:
    """Print what was made for each radio, where it is, and every reason once; of a fleet for each row."""
    every = (result, *result.others)
    for each in every:
        _print_job(console, each)
    for sheet in dict.fromkeys(each.sheet for each in every if each.sheet):
        console.print(f"  sheet: {plain(str(sheet))}")
    reasons(console, dict.fromkeys(reason for each in every for reason in all_reasons(each.made.record)))


def _print_job(console: Console, result: MadeByHand) -> None:
    record = result.made.record
    for radio in record.radios:
        frames = sum(p.frames for p in radio.parts)
        size = f"{frames} frames, {radio.fps} fps, {readable_size(radio.zip_bytes)}"
        console.print(f"[bold]{plain(record.job)}[/] for {plain(radio.radio)}: {size}; {_timing(radio.timeline)}")
        if result.folder:
            console.print(f"  stick: {plain(str(result.folder / radio.folder))}")


def _timing(timing: TimelineRecord) -> str:
    if timing.once_only_s == 0:
        return "it plays until the radio has booted"
    ends = f"the parts that play once end at {timing.once_only_s:.1f} s"
    if timing.measured:
        counted = f"{timing.measured.finished} of {timing.measured.starts} measured starts"
        return f"{ends}, in {counted} before the radio has booted"
    return f"{ends}, in {timing.share_finished:.0%} of starts before the radio has booted"


def all_reasons(record: JobRecord) -> tuple[Reason, ...]:
    """Return the job's reasons and those of its radios. With several radios, each reason names its radio."""
    if len(record.radios) == 1:
        return record.reasons + record.radios[0].reasons
    told = [r.model_copy(update={"what": f"{o.radio}: {r.what}"}) for o in record.radios for r in o.reasons]
    return record.reasons + tuple(told)
