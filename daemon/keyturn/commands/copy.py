"""`keyturn copy`: find the job and the stick, ask before files are replaced, and copy; `--all`, one after the other."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import (
    approval,
    fleet_search,
    job_search,
    output,
    restore_search,
    slip_entry,
    stick_copy,
    sticks_in_a_row,
)
from keyturn.commands.console import REFUSED, RootOption, err, out, rules_of, shop_if_any, shop_of
from keyturn.commands.job_search import FoundJob
from keyturn.commands.stick_copy import RestoreFolder
from keyturn.commands.sticks_in_a_row import StickRow, StickToMake
from keyturn.shop import mounts, settings
from keyturn.shop.mounts import Mount
from keyturn.shop.plain_text import plain_line
from keyturn.shop.reasons import Refused, stop_if_refused
from keyturn.shop.records import JobRecord
from keyturn.shop.stick_names import INSTALL
from keyturn.shop.wrong_use import WrongUse


def copy(
    job: Annotated[
        str,
        typer.Argument(help="A job (its newest revision), job-r2, restore-RADIO, or a path: a revision or its usb."),
    ],
    target: Annotated[Path | None, typer.Argument(help="Where the stick is mounted.", show_default=False)] = None,
    radio: Annotated[str | None, typer.Option(help="Which radio, where the job is for several.")] = None,
    replace: Annotated[bool, typer.Option(help="Replace files of the same names on the stick.")] = False,
    any_folder: Annotated[bool, typer.Option(help="Copy to a folder that is not a stick.")] = False,
    every: Annotated[
        bool,
        typer.Option(
            "--all", help="One stick after the other: for each vehicle or radio of the job, or each job of a fleet."
        ),
    ] = False,
    vehicle: Annotated[
        list[str] | None,
        typer.Option(help="For which vehicle the stick is; with --all, for these alone.", show_default=False),
    ] = None,
    root: RootOption = None,
) -> None:
    """Put a finished job on a stick, read it back and compare. With --all it says which stick to plug in next.

    Example: `keyturn copy van-two /media/stick --root /srv/keyturn`
    """
    if every:
        _copy_all(job, target, radio, vehicle or [], replace, any_folder, root)
        return
    if (stock := restore_search.find(job, lambda: shop_of(root))) is not None:
        _copy_stock(stock, target, root, replace=replace, any_folder=any_folder)
        return
    if vehicle and len(vehicle) > 1:
        raise WrongUse("one stick is for one vehicle", "say --all for several")
    source = job_search.find_direct(job, radio) or job_search.find(shop_of(root).outbox, job, radio)
    _ask_for_the_yes(source.folder.parent, source.job, root)
    name = job_search.one_vehicle(source.job, vehicle[0]) if vehicle else _only(source.job.vehicles)
    stick = choose_target(target, mounts.sticks())
    faults = stick_copy.faults(source, stick, rules_of(root).usb.fat, any_folder=any_folder)
    if faults:
        raise WrongUse("; ".join(faults))
    _ask_to_replace(stick_copy.in_the_way(source, stick), replace)
    _copy(StickToMake(name, source), stick, root)
    out.print("Eject the stick properly before you pull it out.")


def _copy_stock(
    source: RestoreFolder, target: Path | None, root: Path | None, *, replace: bool, any_folder: bool
) -> None:
    """Copy kept stock files: they are the radio's own, so no customer is asked."""
    stick = choose_target(target, mounts.sticks())
    faults = stick_copy.faults(source, stick, rules_of(root).usb.fat, any_folder=any_folder)
    if faults:
        raise WrongUse("; ".join(faults))
    _ask_to_replace(stick_copy.in_the_way(source, stick), replace)
    with output.progress(err, quiet=False) as progress:
        stick_copy.copy(source, stick, lambda done, total: progress("copy and compare", done, total))
    record, place = source.radio, output.plain(str(stick))
    whose = output.plain(f"{record.customer}'s {record.radio}")
    out.print(f"{len(record.files)} stock files of {whose} are on {place}, read back and compared.")
    out.print(f"How they go back: {output.plain(str(source.folder.parent / INSTALL))}")
    out.print("Eject the stick properly before you pull it out.")


def _copy(made: StickToMake, stick: Path, root: Path | None) -> None:
    """Copy, compare, say so and note it."""
    source, of_whom = made.source, {"stick": mounts.stick_words(stick), "stick_id": mounts.stick_id(stick)}
    with output.progress(err, quiet=False) as progress:
        stick_copy.copy(source, stick, lambda done, total: progress("copy and compare", done, total))
    whose = f"{output.plain(made.name)}: " if made.vehicle or made.several else ""
    out.print(f"{whose}{len(source.radio.files)} files are on {output.plain(str(stick))}, read back and compared.")
    _note(made, of_whom, root)


def _copy_all(
    job: str,
    target: Path | None,
    radio: str | None,
    vehicles: list[str],
    replace: bool,
    any_folder: bool,
    root: Path | None,
) -> None:
    """Write the sticks of the job that are still to be made. Each is noted, so that it may be stopped at any point."""
    jobs = _with_the_yes(fleet_search.find_jobs(job, lambda: shop_of(root)), root)
    every, left, used = list[StickToMake](), list[StickToMake](), dict[str, str]()
    for found, chosen in fleet_search.with_vehicles(jobs, vehicles):
        sticks = sticks_in_a_row.sticks_of(found.record, found.folder, radio, chosen, len(jobs) > 1)
        shop = found.shop or shop_if_any(root)
        copied, fitted = (slip_entry.entered(shop, found.folder, kind) for kind in ("copied", "fitted"))
        every += sticks
        left += sticks_in_a_row.left_of(sticks, copied, fitted)
        used |= sticks_in_a_row.used_for(sticks, copied)
    rules = rules_of(root)
    if len(left) < len(every):
        out.print(f"Done before: {output.plain(', '.join(stick.name for stick in every if stick not in left))}.")
    row = StickRow(
        look=lambda: (target,) if target else tuple(stick.point for stick in mounts.sticks()),
        pause=lambda: time.sleep(sticks_in_a_row.LOOK_EVERY_S),
        say=lambda text: out.print(output.plain(text)),
        faults=lambda source, stick: stick_copy.faults(source, stick, rules.usb.fat, any_folder=any_folder),
        holds_others=lambda source, stick: sticks_in_a_row.holds_others(source, stick, rules.intake.names),
        agreed=lambda source, stick: _agreed(stick_copy.in_the_way(source, stick), replace),
        write=lambda made, stick: _copy(made, stick, root),
        used=used,
    )
    row.make(left)
    out.print(
        "Every stick is made. Eject the last one properly before you pull it out." if left else "No stick is left."
    )


def _with_the_yes(jobs: Sequence[FoundJob], root: Path | None) -> Sequence[FoundJob]:
    """Return the jobs that may go on a stick, and say which ones wait for their customers. Raise `Refused` where none
    may."""
    waiting: list[tuple[str, Refused]] = []
    ready = []
    for found in jobs:
        try:
            _ask_for_the_yes(found.folder, found.record, root)
            ready.append(found)
        except Refused as refused:
            waiting.append((found.record.job, refused))
    if waiting and not ready:
        raise Refused([reason for _, refused in waiting for reason in refused.reasons])
    if waiting:
        err.print(f"Left out, for their customers have not said yes: {output.plain(', '.join(n for n, _ in waiting))}.")
    return ready


def _only(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ""


def _ask_for_the_yes(revision: Path, job: JobRecord, root: Path | None) -> None:
    """Raise `Refused` where the shop asks for its customer's yes, and this revision has none."""
    shop = job_search.shop_around(revision) or shop_if_any(root)
    if shop is None or revision.resolve().parent.parent != shop.outbox.resolve():
        return
    if settings.load(shop.root).approval.required:
        stop_if_refused(filter(None, [approval.missing(revision, job)]))


def _note(made: StickToMake, of_whom: dict[str, str], root: Path | None) -> None:
    """Note that the stick was made. The copy is good, whether or not that can be noted."""
    source, revision = made.source, made.source.folder.parent
    told = of_whom | {"vehicle": made.vehicle, "radio": source.radio.radio}
    try:
        slip = slip_entry.slip_for("copied", revision, source.job, **told, verified=True)
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
    if not _agreed(names, replace):
        raise typer.Exit(REFUSED)


def _agreed(names: tuple[str, ...], replace: bool) -> bool:
    """Return whether the files may be replaced. Raise `WrongUse` where nobody can be asked."""
    if not names or replace:
        return True
    question = f"The stick holds other files called {', '.join(names)}. Replace them?"
    if not err.is_terminal:
        raise WrongUse(f"the stick holds other files called {', '.join(names)}", "say --replace, or use another stick")
    return typer.confirm(plain_line(question))
