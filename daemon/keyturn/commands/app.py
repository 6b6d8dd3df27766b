"""The program: all commands, and the one place that turns their outcomes into exit codes."""

from __future__ import annotations

import gc
import io
import os
import sys
from typing import Annotated

import typer

from keyturn import __version__
from keyturn.commands import output
from keyturn.commands.console import DONE, INTERRUPTED, OUR_BUG, REFUSED, WRONG_USE, err, out
from keyturn.commands.on_demand import CommandGroup
from keyturn.commands.when_imported import when_imported
from keyturn.shop.reasons import Refused, ShopFault, shop_fault
from keyturn.shop.wrong_use import WrongUse


class Commands(CommandGroup):
    """The commands in the order of `keyturn --help`."""

    names = (
        *("init", "run", "status", "retry", "radios"),
        *("make", "check", "new", "demo"),
        *("shown", "answer", "copy", "labels", "fitted"),
        *("inspect", "flash", "calibrate", "doctor"),
        "service",
    )


app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
    help="Makes boot logos and boot animations for in-dash Android radios from artists' drops.",
)


def main() -> None:
    """Run the command line, print what went wrong and exit.

    Exit codes: 0 done, 1 refused, 2 wrong use or a fault of the machine, 3 our bug, 4 not judged (`flash`), 130
    interrupted.
    """
    try:
        code = app(args=_arguments(), standalone_mode=False)
    except Refused as refused:
        output.reasons(err, refused.reasons)
        code = REFUSED
    except (ShopFault, WrongUse) as fault:
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
        code = _our_bug()
    raise SystemExit(code if isinstance(code, int) else DONE)


def _arguments() -> list[str]:
    arguments = sys.argv[1:]
    if "calibrate" not in arguments:
        return arguments
    from keyturn.calibrate import spread_values

    return spread_values(arguments)


def _our_bug() -> int:
    from loguru import logger

    logger.exception("this is a bug in Keyturn")
    return OUR_BUG


def _show_usage(error: typer.TyperException) -> None:
    show = getattr(error, "show", None)  # a usage error prints the usage line of its command
    if show is None:
        err.print(output.plain(str(error)))
        return
    said = io.StringIO()
    show(said)
    for line in said.getvalue().splitlines():
        err.print(output.plain(line))


def _system_error(error: OSError) -> int:
    if isinstance(error, BrokenPipeError):  # the reader has gone, as in `keyturn radios | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    fault = shop_fault(error)
    if fault is None:
        return _our_bug()
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
    when_imported("loguru", output.log_to)
    if not gc.isenabled():  # see `keyturn.__main__`
        gc.enable()
        gc.freeze()  # what is imported stays: no collection needs to look at it
