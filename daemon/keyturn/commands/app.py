"""The program: all commands, and the one place that turns their outcomes into exit codes."""

from __future__ import annotations

import io
import os
import sys
from typing import Annotated

import typer
from loguru import logger

from keyturn import __version__
from keyturn import calibrate as calibration
from keyturn.commands import output
from keyturn.commands.answer import answer
from keyturn.commands.calibrate import calibrate
from keyturn.commands.check import check
from keyturn.commands.console import DONE, INTERRUPTED, OUR_BUG, REFUSED, WRONG_USE, err, out
from keyturn.commands.copy import copy
from keyturn.commands.demo import demo
from keyturn.commands.doctor import doctor
from keyturn.commands.fitted import fitted
from keyturn.commands.flash import flash
from keyturn.commands.init import init
from keyturn.commands.inspect import inspect
from keyturn.commands.make import make
from keyturn.commands.new import new
from keyturn.commands.radios import radios
from keyturn.commands.retry import retry
from keyturn.commands.run import run
from keyturn.commands.service import service
from keyturn.commands.shown import shown
from keyturn.commands.status import status
from keyturn.shop import settings
from keyturn.shop.reasons import Refused, ShopFault, shop_fault
from keyturn.shop.wrong_use import WrongUse

app = typer.Typer(
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
        code = app(args=calibration.spread_values(sys.argv[1:]), standalone_mode=False)
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
        logger.exception("this is a bug in Keyturn")
        code = OUR_BUG
    raise SystemExit(code if isinstance(code, int) else DONE)


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
    output.log_to(settings.LogSettings())


for command in (
    *(init, run, status, retry, radios),
    *(make, check, new, demo),
    *(shown, answer, copy, fitted),
    *(inspect, flash, calibrate, doctor),
):
    app.command()(command)
app.add_typer(service, name="service")
