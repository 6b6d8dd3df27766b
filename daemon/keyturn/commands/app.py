"""The commands. One boundary turns outcomes into exit codes: done, refused, wrong use, our bug, interrupted."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from loguru import logger
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from keyturn import __version__
from keyturn import calibrate as calibration
from keyturn.commands import demo as demos
from keyturn.commands import make_by_hand, output, starter, tools
from keyturn.commands.console import (
    DONE,
    INTERRUPTED,
    OUR_BUG,
    REFUSED,
    WRONG_USE,
    JsonOption,
    RootOption,
    err,
    out,
    rules_of,
    shop_of,
)
from keyturn.inbox.moving import free_name, move
from keyturn.outbox import papers
from keyturn.package import PRELOAD
from keyturn.pipeline import Bench, frame_crew
from keyturn.service.loop import Service
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Reason, Refused, ShopFault, shop_fault
from keyturn.shop.records import Working
from keyturn.workers.crew import LocalCrew

WATCH_EVERY_S = 2.0

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
    help="Makes boot logos and boot animations for in-dash Android radios from artists' drops.",
)


def main() -> None:
    """The console command `keyturn`."""
    try:
        code = app(args=calibration.spread_values(sys.argv[1:]), standalone_mode=False)
    except Refused as refused:
        output.reasons(err, refused.reasons)
        code = REFUSED
    except ShopFault as fault:
        err.print(f"[bold red]keyturn:[/] {output.plain(str(fault))}")
        code = WRONG_USE
    except typer.Abort:
        code = INTERRUPTED
    except typer.TyperException as error:
        _show_usage(error)
        code = WRONG_USE
    except KeyboardInterrupt:
        code = INTERRUPTED
    except OSError as error:
        code = _system_error(error)
    except Exception:
        logger.exception("this is a bug in Keyturn")
        code = OUR_BUG
    raise SystemExit(code if isinstance(code, int) else DONE)


def _show_usage(error: typer.TyperException) -> None:
    show = getattr(error, "show", None)  # usage errors know their command's own usage line
    if show is not None:
        show()
    else:
        err.print(output.plain(str(error)))


def _system_error(error: OSError) -> int:
    if isinstance(error, BrokenPipeError):  # `keyturn radios | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    fault = shop_fault(error)
    if fault is None:
        logger.exception("this is a bug in Keyturn")
        return OUR_BUG
    err.print(f"[bold red]keyturn:[/] {output.plain(str(fault))}")
    return WRONG_USE


def _version(wanted: bool) -> None:
    if wanted:
        out.print(f"keyturn {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    _log_to(settings.LogSettings())


@contextmanager
def _bench(root: Path | None, quiet: bool = False) -> Iterator[Bench]:
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


# -- the shop -----------------------------------------------------------------------------------------


@app.command()
def init(folder: Annotated[Path, typer.Argument(help="Where the shop's folders shall be.")]) -> None:
    """Set up a shop: its folders, a settings file and a place for its own rules.

    Example: `keyturn init /srv/keyturn`
    """
    shop = Shop(folder.resolve())
    shop.create()
    config = shop.root / settings.FILE_NAME
    if not config.exists():
        config.write_text(output.SETTINGS_TEXT, encoding="utf-8")
    out.print(f"The shop is set up in {output.plain(str(shop.root))}")
    out.print(f"Artists drop folders in {output.plain(str(shop.inbox))}; start the service with:")
    out.print(f"  keyturn run --root {output.plain(str(shop.root))}")


@app.command()
def run(root: RootOption = None) -> None:
    """Run the service: watch the inbox until told to stop (SIGTERM, Ctrl-C); SIGHUP reads the rules anew.

    Example: `keyturn run --root /srv/keyturn`
    """
    service = Service(shop_of(root), set_up=lambda wanted: _log_to(wanted.log))
    _obey_signals(service)
    service.run()


def _obey_signals(service: Service) -> None:
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: service.stop())
    signal.signal(signal.SIGHUP, lambda *_: service.reload())


def _log_to(log: settings.LogSettings) -> None:
    """One line an event: the journal adds its own time; a file is turned over at 10 MB, ten are kept."""
    logger.remove()
    under_journal = "JOURNAL_STREAM" in os.environ
    logger.add(sys.stderr, level=log.level, format=output.JOURNAL_LINE if under_journal else output.LOG_LINE)
    if log.file:
        logger.add(log.file, level=log.level, rotation="10 MB", retention=10, format=output.FILE_LINE)


@app.command()
def status(
    root: RootOption = None,
    as_json: JsonOption = False,
    watch: Annotated[bool, typer.Option("--watch", help="Show it again every two seconds, until Ctrl-C.")] = False,
) -> None:
    """What waits, what is in work, what is ready, what was refused, and whether the service runs.

    Example: `keyturn status --root /srv/keyturn`
    """
    shop = shop_of(root)
    shop.require()
    while True:
        state = papers.current_state(shop)
        if as_json:
            sys.stdout.write(state.model_dump_json(indent=None if watch else 2) + "\n")
        else:
            out.clear() if watch else None
            output.status(out, state)
        if not watch:
            return
        sys.stdout.flush()
        time.sleep(WATCH_EVERY_S)


@app.command()
def retry(name: Annotated[str, typer.Argument(help="A folder in rejects.")], root: RootOption = None) -> None:
    """Put a refused drop back in the inbox, as dragging it there would.

    Example: `keyturn retry ferry-steps --root /srv/keyturn`
    """
    shop = shop_of(root)
    shop.require()
    source = shop.rejects / name
    if "/" in name or name.startswith(".") or not source.is_dir():
        there = ", ".join(sorted(p.name for p in shop.rejects.iterdir() if p.is_dir())) or "nothing"
        raise ShopFault(f'there is no "{name}" in rejects', f"rejects holds: {there}")
    target = free_name(shop.inbox, name)
    move(source, target)
    out.print(f"{output.plain(name)} is back in the inbox as {output.plain(target.name)}")


@app.command()
def radios(root: RootOption = None, as_json: JsonOption = False) -> None:
    """The radios known here: panel, player, limits, boot times."""
    rules = rules_of(root)
    if as_json:
        every = {name: radio.model_dump(mode="json") for name, radio in rules.radios.items()}
        sys.stdout.write(json.dumps(every, indent=2) + "\n")
    else:
        output.radios(out, rules)


# -- one drop -------------------------------------------------------------------------------------------


@app.command()
def make(
    drop: Annotated[Path, typer.Argument(help="A drop: a folder, or a zip of one.")],
    to: Annotated[Path, typer.Option("--out", help="Where the revision goes.")],
    root: RootOption = None,
) -> None:
    """Make one drop, without a shop.

    Example: `keyturn make ./van-two --out ./ready`
    """
    with _bench(root) as bench:
        result = make_by_hand.make(drop, to, bench)
    output.made(out, result)


@app.command()
def check(
    drop: Annotated[Path, typer.Argument(help="A drop: a folder, or a zip of one.")],
    root: RootOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say all that the shop would say about a drop; keep nothing.

    Example: `keyturn check ./van-two`
    """
    reasons: tuple[Reason, ...] = ()
    code = DONE
    try:
        with _bench(root, quiet=as_json) as bench:
            result = make_by_hand.check(drop, bench)
        reasons = output.all_reasons(result.made.record)
    except Refused as refused:
        if not as_json:
            raise
        reasons, code = refused.reasons, REFUSED
    if as_json:
        found = [r.model_dump(mode="json") for r in reasons]
        sys.stdout.write(json.dumps({"ok": code == DONE, "reasons": found}, indent=2, ensure_ascii=False) + "\n")
        raise typer.Exit(code)
    output.made(out, result)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="A folder that is not there yet.")],
    radio: Annotated[str, typer.Option(help="The radio it is for; see keyturn radios.")] = "tall-768x1024",
    kind: Annotated[
        str, typer.Option(help=f"How its frames are made: {', '.join(starter.KINDS)}.", show_default=True)
    ] = "frames",
    root: RootOption = None,
) -> None:
    """Write a starter drop: pictures, and a manifest that explains itself.

    Examples: `keyturn new ./my-first-drop --radio wide-1024x600`, `keyturn new ./leaf --kind glide`
    """
    profile = rules_of(root).radio(radio)
    if isinstance(profile, Reason):
        raise Refused([profile])
    starter.write(folder, profile, kind)
    out.print(f"A starter drop is in {output.plain(str(folder))}. Change it, then:")
    out.print(f"  keyturn check {output.plain(str(folder))}")


@app.command()
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

        shown = demos.run(keep, told, _obey_signals)
    output.demo(out, shown)


tools.register(app)


if __name__ == "__main__":
    main()
