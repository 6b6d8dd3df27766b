"""What the commands print. Names from drops are printed as text, never as markup or terminal codes."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Column, Table

from keyturn.commands.demo import Shown
from keyturn.commands.doctor import Finding, Health
from keyturn.commands.make_by_hand import Result
from keyturn.eye.flash import FlashReport
from keyturn.radio.inspect import Verdict
from keyturn.shop.reasons import Kind, Reason
from keyturn.shop.records import JobRecord, ShopState, TimelineRecord
from keyturn.shop.rulebook import Rulebook

LOG_LINE = "<green>{time:HH:mm:ss}</green> <level>{level: <8}</level> {message}"
FILE_LINE = "{time:YYYY-MM-DDTHH:mm:ss.SSSZZ} {level: <8} {message}"
JOURNAL_LINE = "{level: <8} {message}"

SETTINGS_TEXT = """\
# keyturn.toml: this shop's settings. Each can also be given as an environment variable,
# for example KEYTURN_SETTLE__SECONDS=10. What is not said here has the value shown.

# scan_seconds = 5            # how often the inbox is looked through when nothing happens
# watch = "auto"              # auto | events | polling (auto polls on network mounts)
# workers = 0                 # processes for frame work; 0 = one a core
# crew = "local"              # or a Dask scheduler, such as "tcp://10.0.0.5:8786"

[settle]
# seconds = 5                 # a drop is whole when nothing has changed for so long
# without_manifest_seconds = 120
# half_copied_seconds = 3600

[keep]
# archive_days = 0            # 0 = for ever
# rejects_days = 0
# archive_gib = 0             # 0 = without limit; the oldest goes first
# rejects_gib = 0

[hooks]                       # a program and its arguments, told each outcome as JSON on stdin
# ready = []                  # for example ["/usr/local/bin/tell-the-shop", "ready"]
# refused = []
# seconds = 20                # then it is ended

[log]
# level = "INFO"
# file = ""
"""

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
_WORDS = {Kind.REFUSE: "[bold red]refused[/]", Kind.MENDED: "[green]mended[/]", Kind.NOTE: "[yellow]note[/]"}


def plain(text: str) -> str:
    """`text` safe for the terminal: no markup of rich's, no control or direction characters."""
    return escape(_CONTROL.sub("\N{REPLACEMENT CHARACTER}", text))


def size(text: str | None) -> tuple[int, int] | None:
    """ "1024x768" as two whole numbers of pixels."""
    if text is None:
        return None
    found = re.fullmatch(r"([1-9]\d{0,4})[x×]([1-9]\d{0,4})", text)
    if found is None:
        raise typer.BadParameter(f"{text!r} is not a size such as 1024x768")
    return int(found[1]), int(found[2])


@contextmanager
def progress(console: Console, quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """A bar on a terminal, a line a stage elsewhere."""
    if quiet or not console.is_terminal:
        yield _lines(console, quiet)
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("reading", total=None)
        yield lambda stage, done, total: bar.update(task, description=stage, completed=done, total=total)


def _lines(console: Console, quiet: bool) -> Callable[[str, int, int], None]:
    told: set[str] = set()

    def tell(stage: str, done: int, total: int) -> None:
        if not quiet and stage not in told:
            told.add(stage)
            console.print(stage)

    return tell


def reasons(console: Console, found: Iterable[Reason]) -> None:
    """Refusals first, then what was mended, then notes."""
    order = [Kind.REFUSE, Kind.MENDED, Kind.NOTE]
    for reason in sorted(found, key=lambda r: order.index(r.kind)):
        console.print(f"{_WORDS[reason.kind]}  {plain(reason.line())}")


def all_reasons(record: JobRecord) -> tuple[Reason, ...]:
    """The job's reasons and its radios'; with several radios each says whose it is."""
    if len(record.radios) == 1:
        return record.reasons + record.radios[0].reasons
    told = [r.model_copy(update={"what": f"{o.radio}: {r.what}"}) for o in record.radios for r in o.reasons]
    return record.reasons + tuple(told)


def made(console: Console, result: Result) -> None:
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


def status(console: Console, state: ShopState) -> None:
    running = f"running (process {state.pid}), {state.watching}" if state.running else "not running"
    console.print(f"Service: {running}")
    if state.paused:
        console.print(f"[bold red]Paused:[/] {plain(state.paused)}")
    for working in state.working:
        console.print(f"In work: {plain(working.name)}, {working.stage} {working.done}/{working.total}")
    _waiting(console, state)
    _ready(console, state)
    _refused(console, state)


def _waiting(console: Console, state: ShopState) -> None:
    total = max(state.waiting_total, len(state.waiting))
    console.print(f"[bold]Waiting:[/] {total or 'none'}")
    for drop in state.waiting:
        note = f"rush, {drop.note}" if drop.rush else drop.note
        since = f", since {drop.since}" if drop.since else ""
        console.print(f"  {plain(drop.name)}: {drop.files} files{since}{', ' + plain(note) if note else ''}")
    if total > len(state.waiting):
        console.print(f"  and {total - len(state.waiting)} more")


def _ready(console: Console, state: ShopState) -> None:
    console.print(f"[bold]Ready:[/] {state.ready_total or 'none'}")
    for job in state.ready[:20]:
        radios = ", ".join(job.radios)
        console.print(f"  outbox/{plain(job.path)} for {plain(job.customer)} ({plain(radios)})")


def _refused(console: Console, state: ShopState) -> None:
    console.print(f"[bold]Refused:[/] {state.refused_total or 'none'}")
    for drop in state.refused[:20]:
        console.print(f"  {plain(drop.path)} ({drop.rejected_at})")
        for reason in (r for r in drop.reasons if r.kind is Kind.REFUSE):
            console.print(f"    {plain(reason.line())}")


def radios(console: Console, rules: Rulebook) -> None:
    table = Table(Column("radio", no_wrap=True), "panel", "colour", "player", "parts", "fps", "zip", "boots in")
    for name, radio in sorted(rules.radios.items()):
        boot, limits = radio.boot, radio.limits
        table.add_row(
            plain(name),
            f"{radio.panel.width} x {radio.panel.height}",
            f"{radio.panel.bits} bit",
            radio.firmware.pacing,
            " ".join(radio.firmware.part_types),
            f"{limits.fps_min}-{limits.fps_max}",
            f"{limits.zip_mib:g} MiB",
            f"{boot.shortest:g}-{boot.longest:g} s",
        )
    console.print(table)


def flash(console: Console, report: FlashReport, as_json: bool) -> None:
    if as_json:
        found = {
            "pass": report.passes,
            "general_max_per_s": report.general_max_per_s,
            "red_max_per_s": report.red_max_per_s,
            "worst_at_s": report.worst_at_s,
        }
        sys.stdout.write(json.dumps(found) + "\n")
        return
    verdict = "[green]passes[/]" if report.passes else "[bold red]fails[/]"
    console.print(
        f"{verdict}: at most {report.general_max_per_s} general and {report.red_max_per_s} red flashes within "
        f"a second, worst at {report.worst_at_s:.2f} s (WCAG 2.2, 2.3.1; a screening aid, not a medical clearance)"
    )


def verdict(console: Console, found: Verdict) -> None:
    """What a radio would show of a bundle, in its order, then why it is not more."""
    if found.desc is None:
        console.print("[bold red]nothing is shown[/]: the radio finds no size and rate in desc.txt")
    else:
        console.print(f"{found.desc.width} x {found.desc.height}, {found.desc.fps} fps")
        for part in found.parts:
            row = part.row
            plays = "until booted" if row.count == 0 else f"{row.count} times" if row.count > 1 else "once"
            pause = f", pause {row.pause}" if row.pause else ""
            console.print(f"  {plain(row.path)}: {len(part.frames)} frames, {plays}{pause} (type {row.type})")
    reasons(console, found.reasons)


def verdict_json(found: Verdict) -> dict[str, object]:
    desc = found.desc
    return {
        "shown": desc is not None and any(part.frames for part in found.parts),
        "width": desc.width if desc else None,
        "height": desc.height if desc else None,
        "fps": desc.fps if desc else None,
        "parts": [{**asdict(part.row), "frames": list(part.frames)} for part in found.parts],
        "reasons": [r.model_dump(mode="json") for r in found.reasons],
    }


def findings(console: Console, found: Iterable[Finding]) -> None:
    words = {Health.WELL: "[green]well[/]", Health.MIND: "[yellow]mind[/]", Health.ILL: "[bold red]ill [/]"}
    for finding in found:
        remedy = f" -> {plain(finding.remedy)}" if finding.remedy else ""
        console.print(f"{words[finding.health]}  {plain(finding.what)}{remedy}")


def demo(console: Console, shown: Shown) -> None:
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
