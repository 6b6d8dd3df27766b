"""`keyturn copy`: find the job and the stick, ask before files are replaced, and copy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from keyturn.commands import output, stick_copy
from keyturn.commands.console import REFUSED, RootOption, err, out, rules_of, shop_of
from keyturn.commands.stick_copy import StickFolder
from keyturn.outbox import published_digests, record_files
from keyturn.shop import mounts
from keyturn.shop.folders import Shop
from keyturn.shop.mounts import Mount
from keyturn.shop.plain_text import plain_line
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import JobRecord
from keyturn.shop.wrong_use import WrongUse

RECORD = "job.json"


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
    source = find_direct(job, radio) or find(shop_of(root).outbox, job, radio)
    stick = choose_target(target, mounts.sticks())
    faults = stick_copy.faults(source, stick, rules_of(root).usb.fat, any_folder=any_folder)
    if faults:
        raise WrongUse("; ".join(faults))
    _ask_to_replace(stick_copy.in_the_way(source, stick), replace)
    with output.progress(err, quiet=False) as progress:
        stick_copy.copy(source, stick, lambda done, total: progress("copy and compare", done, total))
    out.print(f"{len(source.radio.files)} files are on {output.plain(str(stick))}, read back and compared.")
    out.print("Eject the stick properly before you pull it out.")


def find(outbox: Path, name: str, radio: str | None) -> StickFolder:
    """Return the folder that goes on the stick, of the revision called `name`.

    `name` is "customer/job-r2" or "job-r2"; "customer/job" or "job" is its newest revision. Raise
    `WrongUse` where no revision or several have that name, or where one of several radios must be named. Raise
    `ShopFault` where the revision's job.json cannot be read.
    """
    return _stick_folder(_revision(outbox, name), radio, Shop(outbox.parent))


def find_direct(path: str, radio: str | None) -> StickFolder | None:
    """Return what goes on the stick where `path` is a revision's folder or one of its folders for a stick.

    No shop is needed for it. Return None where it is neither. Raise as `find` does.
    """
    named = Path(path)
    if (named / RECORD).is_file():
        return _stick_folder(named.resolve(), radio)
    revision = named.resolve().parent if named.is_dir() else None
    if revision is None or not (revision / RECORD).is_file():
        return None
    job = _record(revision)
    fitting = [r.radio for r in job.radios if r.folder == named.resolve().name and radio in (None, r.radio)]
    if not fitting:
        there = ", ".join(r.folder for r in job.radios)
        raise WrongUse(f"{named} is no folder for a stick", f"this revision's are: {there}")
    return _stick_folder(revision, fitting[0])


def _stick_folder(folder: Path, radio: str | None, *shops: Shop) -> StickFolder:
    job = _record(folder)
    _check_published(folder, shops)
    fitting = [r for r in job.radios if radio in (None, r.radio)]
    if len(fitting) != 1:
        there = ", ".join(r.radio for r in job.radios)
        what = f"this job has no radio {radio}" if radio else "this job is for several radios"
        raise WrongUse(what, f"say --radio with one of: {there}")
    return StickFolder(job, fitting[0], folder / fitting[0].folder)


def _record(folder: Path) -> JobRecord:
    job = record_files.read_job(folder)
    if job is None:
        raise ShopFault(f"{folder} has no readable {RECORD}", "name a revision's folder in the outbox")
    return job


def _check_published(folder: Path, shops: Sequence[Shop]) -> None:
    """Raise `ShopFault` where the revision lies in a shop's outbox and is not as that shop's service published it.

    The shop is one of `shops` or the one around the folder. The shop's people may write in the outbox, and job.json
    says which files go on the stick.
    """
    place = folder.resolve()
    for shop in (*shops, *(Shop(above) for above in place.parents[2:3])):
        if shop.state.is_dir() and shop.outbox.resolve() == place.parent.parent:
            known = published_digests.recorded(shop.published, f"{place.parent.name}/{place.name}")
            if known is None:
                raise ShopFault(f"{folder} was not published by this shop's service", "make the job again")
            if known != published_digests.digest_of(place):
                what = f"{folder / RECORD} is not as the service wrote it"
                raise ShopFault(what, "make the job again, or take another revision")
            return


def _revision(outbox: Path, name: str) -> Path:
    if (outbox / name / RECORD).is_file():
        return (outbox / name).resolve()
    folders = sorted(outbox.iterdir()) if outbox.is_dir() else []
    customers = [folder for folder in folders if folder.is_dir() and not folder.name.startswith(".")]
    every = [(job, number, path) for customer in customers for job, number, path in record_files.revisions(customer)]
    exact = [path for _, _, path in every if path.name == name]
    by_number = sorted(every, key=lambda revision: revision[1])
    newest = {path.parent: path for job, _, path in by_number if name in (job, f"{path.parent.name}/{job}")}
    found = exact or list(newest.values())
    if len(found) == 1:
        return found[0]
    if found:
        said = ", ".join(p.relative_to(outbox).as_posix() for p in found)
        raise WrongUse(f'several customers have a job "{name}"', f"say which: {said}")
    near = ", ".join(p.relative_to(outbox).as_posix() for _, _, p in every[-5:])
    mend = f"the outbox holds, among others: {near}" if near else f"{outbox} holds no job yet: wait for one"
    raise WrongUse(f'there is no job "{name}" in the outbox', mend)


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
