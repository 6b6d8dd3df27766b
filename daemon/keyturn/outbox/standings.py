"""How far each revision has come, from the slips beside it; and the ledger that follows them."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

from keyturn.outbox import ledger_rows, revision_life
from keyturn.outbox.customer_folder import FileState, file_state
from keyturn.outbox.ledger import Ledger
from keyturn.outbox.ledger_rows import Standing
from keyturn.outbox.revision_life import FILES, Life
from keyturn.shop.records import JobRecord
from keyturn.shop.slips import Slip
from keyturn.shop.state_records import Place, PlaceCounts, PlacedJob

FITTED_SHOWN = timedelta(days=7)
QUIET_AFTER = timedelta(days=90)
"""A job of which nobody has said anything for so long is no longer listed. A shop that begins to follow its jobs has
years of them."""

MOST_WORDS = 160
_REMEMBERED = 16_384

Radios = tuple[str, ...]


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
    radios = {path: tuple(r.radio for r in record.radios) for path, record in made.items()}
    found = {path: said for path, for_radios in radios.items() if (said := standing(f"{outbox}/{path}", for_radios))}
    wanted = _wanted(found.values(), approval, now)
    return ledger_rows.jobs_of(made, found, wanted) if wanted else ((), None)


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


def follow(ledger: Ledger, outbox: Path, made: Mapping[str, Radios]) -> None:
    """Bring the ledger in line with the slips beside these revisions: the radios of each, by its path."""
    known = ledger.standings()
    found = {path: standing(f"{outbox}/{path}", radios) for path, radios in made.items()}
    ledger.set_standings({path: now for path, now in found.items() if now != known.get(path)})


def standing(folder: str, radios: Radios) -> Standing | None:
    """Return how far the revision in `folder` has come; None where nobody has said anything of it."""
    here = file_state(folder)
    names = _names(folder, here) if here else ()
    return _standing(folder, radios, tuple((name, file_state(f"{folder}/{name}")) for name in names)) if names else None


@lru_cache(maxsize=_REMEMBERED)
def _names(folder: str, state: FileState) -> tuple[str, ...]:
    """Return the names of the files with slips. A folder's state changes when a name in it comes or goes (POSIX)."""
    try:
        with os.scandir(folder) as entries:
            return tuple(sorted(entry.name for entry in entries if entry.name in FILES.values()))
    except OSError:
        return ()


@lru_cache(maxsize=_REMEMBERED)
def _standing(folder: str, radios: Radios, state: tuple[tuple[str, FileState | None], ...]) -> Standing | None:
    return standing_of(revision_life.read(Path(folder)), radios)


def standing_of(life: Life, radios: Radios) -> Standing | None:
    """Return how far a revision for these radios has come; None where nobody has said anything of it."""
    asked, followed = bool(life.shown or life.answer), bool(life.shown or life.answer or life.fitted)
    told = _told(life, radios)
    if told is None:
        return None
    place, slip, said = told
    return Standing(place, _utc(slip.at), said, int(asked), int(followed))


def _told(life: Life, radios: Radios) -> tuple[str, Slip, str] | None:
    """Return the place, the slip that says so, and what it says."""
    fitted, copied = _of(life.fitted), _of(life.copied)
    last, left = life.last_answer, [radio for radio in radios if not {radio, ""} & fitted.keys()]
    done = bool(life.fitted) and not left
    if last and last.answer == "change" and not (done and _utc(life.fitted[-1].at) > _utc(last.at)):
        return "change", last, _shortened(f"{last.by}: {last.note}" if last.note else last.by)
    if done:
        return "fitted", life.fitted[-1], _fitted_words(life.fitted[-1])
    if life.copied and all({radio, ""} & copied.keys() for radio in left):
        slip = life.copied[-1]
        compared = ", read back" if slip.verified else ""
        return "fit", slip, _shortened(f"on {slip.stick}{compared}" if slip.stick else f"by {slip.by}")
    if last:
        return "stick", last, _shortened(f"yes from {last.by}" if last.by else "yes")
    begun = [*life.copied[-1:], *life.fitted[-1:]]
    if begun:
        return "stick", begun[0], f"still to copy: {', '.join(r for r in left if r not in copied)}"
    return ("", life.shown[-1], _shortened(f"shown to {life.shown[-1].note}")) if life.shown else None


def _of(slips: Iterable[Slip]) -> dict[str, Slip]:
    """Return the last slip of each radio. One that names no radio goes for all."""
    return {slip.radio: slip for slip in slips}


def _fitted_words(slip: Slip) -> str:
    boot = f"boots in {slip.boot_s:g} s" if slip.boot_s else ""
    return _shortened(", ".join(word for word in (f"by {slip.by}" if slip.by else "", slip.vehicle, boot) if word))


def _shortened(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= MOST_WORDS else f"{words[: MOST_WORDS - 1]}\N{HORIZONTAL ELLIPSIS}"


def _utc(at: str) -> str:
    """Return the time in UTC, so that times can be compared as texts; "" for a text that is no time."""
    try:
        return datetime.fromisoformat(at).astimezone(UTC).isoformat(timespec="seconds")
    except (ValueError, OverflowError, OSError):
        return ""
