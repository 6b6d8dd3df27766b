"""How far each revision has come, from the slips beside it; and the ledger that follows them."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from keyturn.outbox import ledger_rows, revision_life
from keyturn.outbox.customer_folder import FileState, file_state
from keyturn.outbox.ledger_rows import MadeFor, Standing, lines_text
from keyturn.outbox.revision_life import FILES, Life
from keyturn.shop.records import JobRecord
from keyturn.shop.slips import Slip
from keyturn.shop.state_records import Place, PlaceCounts, PlacedJob, Ready, VehicleLine

if TYPE_CHECKING:  # without a service `keyturn status` looks at the folders alone
    from keyturn.outbox.ledger import Ledger

FITTED_SHOWN = timedelta(days=7)
QUIET_AFTER = timedelta(days=90)
"""A job of which nobody has said anything for so long is no longer listed. A shop that begins to follow its jobs has
years of them."""

MOST_WORDS = 160
_REMEMBERED = 16_384


def jobs(ledger: Ledger, *, approval: bool, now: datetime) -> tuple[tuple[PlacedJob, ...], PlaceCounts | None]:
    """Return the jobs in their places and the counts; nothing in a shop that does not follow its jobs.

    `approval`: no job may go on a stick without the customer's yes.
    """
    wanted = _wanted(ledger.standings().values(), approval, now)
    return ledger.jobs(*wanted) if wanted else ((), None)


def jobs_in(
    outbox: Path, made: Mapping[str, JobRecord], *, approval: bool, now: datetime
) -> tuple[tuple[PlacedJob, ...], PlaceCounts | None]:
    """Return what `jobs` does, from the folders: the records of all revisions by their paths."""
    wanted_by = {path: MadeFor(tuple(r.radio for r in job.radios), job.vehicles) for path, job in made.items()}
    found = {path: said for path, what in wanted_by.items() if (said := standing(f"{outbox}/{path}", what))}
    wanted = _wanted(found.values(), approval, now)
    return ledger_rows.jobs_of(made, found, wanted) if wanted else ((), None)


def placed(outbox: Path, made: Ready, approval: bool) -> PlacedJob:
    """Return where a revision stands, from the slips beside it. `approval`: none may go on a stick without a yes."""
    said = standing(f"{outbox}/{made.path}", MadeFor(made.radios, made.vehicles))
    unsaid: Place = "customer" if approval or (said and said.asked) else "stick"
    known = said or Standing("", made.made_at, "", 0, 0)
    lines = ledger_rows.vehicle_lines(known.lines) or tuple(VehicleLine(name=name) for name in made.vehicles)
    told = {"place": known.place or unsaid, "since": known.since, "said": known.said, "lines": lines}
    return PlacedJob.model_validate(made.model_dump() | told)


def _wanted(known: Collection[Standing], approval: bool, now: datetime) -> tuple[Place, str, str] | None:
    """Return what `Ledger.jobs` asks for; None in a shop that does not follow its jobs.

    Times count by the hour, so that the ledger's answer stays the same for a while.
    """
    if not approval and not any(standing.followed for standing in known):
        return None
    asks = approval or any(standing.asked for standing in known)
    hour = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    fitted, made = ((hour - ago).isoformat(timespec="seconds") for ago in (FITTED_SHOWN, QUIET_AFTER))
    return "customer" if asks else "stick", fitted, made


def follow(ledger: Ledger, outbox: Path, made: Mapping[str, MadeFor]) -> None:
    """Bring the ledger in line with the slips beside these revisions: what each was made for, by its path."""
    known = ledger.standings()
    found = {path: standing(f"{outbox}/{path}", what) for path, what in made.items()}
    ledger.set_standings({path: now for path, now in found.items() if now != known.get(path)})


def standing(folder: str, made: MadeFor) -> Standing | None:
    """Return how far the revision in `folder` has come; None where nobody has said anything of it."""
    here = file_state(folder)
    names = _names(folder, here) if here else ()
    return _standing(folder, made, tuple((name, file_state(f"{folder}/{name}")) for name in names)) if names else None


@lru_cache(maxsize=_REMEMBERED)
def _names(folder: str, state: FileState) -> tuple[str, ...]:
    """Return the names of the files with slips. A folder's state changes when a name in it comes or goes (POSIX)."""
    try:
        with os.scandir(folder) as entries:
            return tuple(sorted(entry.name for entry in entries if entry.name in FILES.values()))
    except OSError:
        return ()


@lru_cache(maxsize=_REMEMBERED)
def _standing(folder: str, made: MadeFor, state: tuple[tuple[str, FileState | None], ...]) -> Standing | None:
    return standing_of(revision_life.read(Path(folder)), made)


def standing_of(life: Life, made: MadeFor) -> Standing | None:
    """Return how far a revision has come; None where nobody has said anything of it.

    It has come as far as the last of its radios; of a job that names its vehicles, as the last of these, whichever of
    the job's radios each has.
    """
    asked, followed = bool(life.shown or life.answer), bool(life.shown or life.answer or life.fitted)
    told = _told(life, made)
    if told is None:
        return None
    place, slip, said = told
    lines = lines_text(vehicle_lines(life, made.vehicles))
    return Standing(place, _utc(slip.at), said, int(asked), int(followed), lines)


def vehicle_lines(life: Life, vehicles: Iterable[str]) -> tuple[VehicleLine, ...]:
    """Return how far each of the vehicles has come."""
    fitted, copied = _by_vehicle(life.fitted), _by_vehicle(life.copied)
    return tuple(_line(name, fitted.get(name, fitted.get("")), copied.get(name, copied.get(""))) for name in vehicles)


def _line(name: str, fitted: Slip | None, copied: Slip | None) -> VehicleLine:
    if fitted:
        return VehicleLine(name=name, place="fitted", since=_utc(fitted.at), said=_fitted_words(fitted, name))
    if copied:
        return VehicleLine(name=name, place="fit", since=_utc(copied.at), said=_copied_words(copied))
    return VehicleLine(name=name, place="stick")


def _told(life: Life, made: MadeFor) -> tuple[str, Slip, str] | None:
    """Return the place, the slip that says so, and what it says."""
    each = _by_vehicle if made.vehicles else _by_radio
    fitted, copied = each(life.fitted), each(life.copied)
    last, left = life.last_answer, [name for name in made.vehicles or made.radios if not {name, ""} & fitted.keys()]
    done = bool(life.fitted) and not left
    begun = [*life.copied[-1:], *life.fitted[-1:]]
    to_copy = [name for name in left if not {name, ""} & copied.keys()]
    if last and last.answer == "change" and not (done and _utc(life.fitted[-1].at) > _utc(last.at)):
        return "change", last, _shortened(f"{last.by}: {last.note}" if last.note else last.by)
    if done:
        return "fitted", life.fitted[-1], _fitted_words(life.fitted[-1])
    if made.vehicles and (life.fitted or (life.copied and not to_copy)):
        return "fit", begun[-1], _left_words(len(made.vehicles), left, to_copy)
    if life.copied and not to_copy:
        return "fit", life.copied[-1], _copied_words(life.copied[-1])
    if last and not (made.vehicles and begun):
        return "stick", last, _shortened(f"yes from {last.by}" if last.by else "yes")
    if begun:
        return "stick", begun[0], _shortened(f"still to copy: {', '.join(to_copy)}")
    return ("", life.shown[-1], _shortened(f"shown to {life.shown[-1].note}")) if life.shown else None


def _by_radio(slips: Iterable[Slip]) -> dict[str, Slip]:
    """Return the last slip of each radio. One that names no radio goes for all."""
    return {slip.radio: slip for slip in slips}


def _by_vehicle(slips: Iterable[Slip]) -> dict[str, Slip]:
    """Return the last slip of each vehicle. One that names no vehicle goes for all."""
    return {slip.vehicle: slip for slip in slips}


def _left_words(number: int, left: list[str], to_copy: list[str]) -> str:
    what = "left, still to copy" if to_copy == left else "left"
    copies = f"; still to copy: {', '.join(to_copy)}" if to_copy and to_copy != left else ""
    return _shortened(f"{number - len(left)} of {number} fitted; {what}: {', '.join(left)}{copies}")


def _copied_words(slip: Slip) -> str:
    compared = ", read back" if slip.verified else ""
    return _shortened(f"on {slip.stick}{compared}" if slip.stick else f"by {slip.by}")


def _fitted_words(slip: Slip, vehicle: str = "") -> str:
    """Return what the slip says; not the vehicle where it is `vehicle`, which is named beside it."""
    boot = f"boots in {slip.boot_s:g} s" if slip.boot_s else ""
    where = slip.vehicle if slip.vehicle != vehicle else ""
    return _shortened(", ".join(word for word in (f"by {slip.by}" if slip.by else "", where, boot) if word))


def _shortened(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= MOST_WORDS else f"{words[: MOST_WORDS - 1]}\N{HORIZONTAL ELLIPSIS}"


def _utc(at: str) -> str:
    """Return the time in UTC, so that times can be compared as texts; "" for a text that is no time."""
    try:
        return datetime.fromisoformat(at).astimezone(UTC).isoformat(timespec="seconds")
    except (ValueError, OverflowError, OSError):
        return ""
