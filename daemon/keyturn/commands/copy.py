"""`keyturn copy`: find the job and the stick, ask before files are replaced, and copy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import approval, job_search, output, slip_entry, stick_copy
from keyturn.commands.console import REFUSED, RootOption, err, out, rules_of, shop_if_any, shop_of
from keyturn.commands.stick_copy import StickFolder
from keyturn.shop import mounts, settings
from keyturn.shop.mounts import Mount
from keyturn.shop.plain_text import plain_line
from keyturn.shop.reasons import stop_if_refused
from keyturn.shop.wrong_use import WrongUse


def copy(
    job: Annotated[str, typer.Argument(help="A job (its newest revision), job-r2, or a path: a revision or its usb.")],
    target: Annotated[Path | None, typer.Argument(help="Where the stick is mounted.", show_default=False)] = None,
    radio: Annotated[str | None, typer.Option(help="Which radio, where the job is for several.")] = None,
    replace: Annotated[bool, typer.Option(help="Replace files of the same names on the stick.")] = False,
    any_folder: Annotated[bool, typer.Option(help="Copy to a folder that is not a stick.")] = False,
    root: RootOption = None,
) -> None:
    """Put a finished job on a stick, read it back and compare.

    Example: `keyturn copy van-two /media/stick --root /srv/keyturn`
    """
    source = job_search.find_direct(job, radio) or job_search.find(shop_of(root).outbox, job, radio)
    _ask_for_the_yes(source, root)
    stick = choose_target(target, mounts.sticks())
    faults = stick_copy.faults(source, stick, rules_of(root).usb.fat, any_folder=any_folder)
    if faults:
        raise WrongUse("; ".join(faults))
    _ask_to_replace(stick_copy.in_the_way(source, stick), replace)
    with output.progress(err, quiet=False) as progress:
        stick_copy.copy(source, stick, lambda done, total: progress("copy and compare", done, total))
    out.print(f"{len(source.radio.files)} files are on {output.plain(str(stick))}, read back and compared.")
    _note(source, stick, root)
    out.print("Eject the stick properly before you pull it out.")


def _ask_for_the_yes(source: StickFolder, root: Path | None) -> None:
    """Raise `Refused` where the shop asks for its customer's yes, and this revision has none."""
    revision = source.folder.parent
    shop = job_search.shop_around(revision) or shop_if_any(root)
    if shop is None or revision.resolve().parent.parent != shop.outbox.resolve():
        return
    if settings.load(shop.root).approval.required:
        stop_if_refused(filter(None, [approval.missing(revision, source.job)]))


def _note(source: StickFolder, stick: Path, root: Path | None) -> None:
    """Note that the stick was made. The copy is good, whether or not that can be noted."""
    revision = source.folder.parent
    words = mounts.stick_words(stick)
    try:
        slip = slip_entry.slip_for("copied", revision, source.job, radio=source.radio.radio, stick=words, verified=True)
        slip_entry.enter(job_search.shop_around(revision) or shop_if_any(root), revision, slip)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        err.print(f"[yellow]The stick is good. That it was made could not be noted:[/] {output.plain(why)}")


def choose_target(target: Path | None, sticks: Sequence[Mount]) -> Path:
    """Return the target, or the stick where exactly one is plugged in. Raise `WrongUse` otherwise."""
    if target is not None:
        return target
    if len(sticks) == 1:
        return sticks[0].point
    if not sticks:
        raise WrongUse("no stick is plugged in and mounted", "plug one in, or name its folder")
    raise WrongUse("several sticks are plugged in", f"name one: {', '.join(str(s.point) for s in sticks)}")


def _ask_to_replace(names: tuple[str, ...], replace: bool) -> None:
    """Return where the files may be replaced. Exit with 1 on a no; raise `WrongUse` where nobody can be asked."""
    if not names or replace:
        return
    question = f"The stick holds other files called {', '.join(names)}. Replace them?"
    if not err.is_terminal:
        raise WrongUse(f"the stick holds other files called {', '.join(names)}", "say --replace, or use another stick")
    if not typer.confirm(plain_line(question)):
        raise typer.Exit(REFUSED)
