"""`keyturn service install` and `remove`: the service of this machine, in one command."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import installation
from keyturn.commands.console import out
from keyturn.commands.install_steps import Step
from keyturn.commands.installation import Place
from keyturn.commands.output import plain
from keyturn.shop.wrong_use import WrongUse

RUNNING_SYSTEMD = Path("/run/systemd/system")
"""sd_booted(3): it is there where systemd manages the machine."""

service = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="markdown",
    help="Install the service on this machine, or remove it.",
)

DryRun = Annotated[bool, typer.Option("--dry-run", help="Print every step and do none.")]
Into = Annotated[
    Path, typer.Option("--into", help="The root of another system, such as an image; nothing is started there.")
]
ShopFolder = Annotated[
    Path | None,
    typer.Option("--root", help="The shop's folder.", show_default=f"the installed unit's, or {installation.SHOP}"),
]


def install(
    root: ShopFolder = None,
    drop_in: Annotated[
        list[str] | None,
        typer.Option("--with", help=f"A drop-in to the unit: {', '.join(installation.drop_ins())}."),
    ] = None,
    into: Into = Path("/"),
    dry_run: DryRun = False,
) -> None:
    """Install the service or renew it: program, user, folders, settings, unit; then start it. As root.

    Settings and drop-ins that are there stay. It can be repeated, and after an upgrade it should be.

    Example: `keyturn service install --dry-run`
    """
    place = installation.place_of(into.resolve(), root)
    steps = list(installation.install_steps(place, tuple(drop_in or ())))
    _do(steps, place, dry_run)
    if not dry_run:
        out.print(
            f"The service is installed. Put artists and fitters in the group keyturn; the shop is {plain(str(root))}"
        )


def remove(root: ShopFolder = None, into: Into = Path("/"), dry_run: DryRun = False) -> None:
    """Stop the service and remove what `install` wrote. The shop's folders and the user keyturn stay. As root.

    Example: `keyturn service remove --dry-run`
    """
    place = installation.place_of(into.resolve(), root)
    _do(list(installation.remove_steps(place)), place, dry_run)
    out.print(
        f"The shop stays: {plain(str(place.at(place.shop)))}, its user and group keyturn, /var/lib and /var/log/keyturn"
    )


def _do(steps: Iterable[Step], place: Place, dry_run: bool) -> None:
    if not dry_run:
        _require_rights(place)
    for step in steps:
        out.print(plain(f"would {step.told()}") if dry_run else "\n".join(map(plain, step.do().splitlines())))


def _require_rights(place: Place) -> None:
    if shutil.which("systemctl") is None:
        raise WrongUse("this machine has no systemd", "start the service in your own way: keyturn run --root FOLDER")
    if place.is_this_machine and os.geteuid() != 0:
        raise WrongUse("only root can install or remove a service", "run it with sudo, or look first with --dry-run")
    if place.is_this_machine and not RUNNING_SYSTEMD.is_dir():
        raise WrongUse("systemd does not manage this machine", "say --into with the root of the system that it is for")


for command in (install, remove):
    service.command()(command)
