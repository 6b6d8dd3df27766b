"""Removes old drops from archive and rejects, by age and by size. It touches nothing in inbox, work and outbox."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from loguru import logger

from keyturn.outbox import record_files
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from keyturn.shop.own_files import is_plain_folder, remove_left_over
from keyturn.shop.settings import KeepSettings

FRESH = timedelta(days=1)
"""A drop that came to archive or rejects less than so long ago is not removed for its size: somebody may be about to
look at it."""

_REMOVING = ".keyturn-removing-"
"""Prefix of a drop's name while it is being removed."""

_BEING_REMOVED = re.compile(rf"{re.escape(_REMOVING)}[0-9a-f]{{12}}")
"""The names of drops that are being removed."""

_CLAIM_TIME = "%Y%m%dT%H%M%S"
"""The time at the head of a claim's id, UTC."""

_GIB = 2**30


@dataclass(frozen=True, slots=True)
class StoredDrop:
    """A drop in archive or rejects since `since`. `superseded`: a later revision of its job lies in the archive too."""

    path: Path
    since: datetime
    superseded: bool = False


def prune(shop: Shop, keep: KeepSettings, now: datetime, alive: Callable[[], object] = lambda: None) -> list[Path]:
    """Remove the drops in archive and rejects that are older, or take more of the disk, than `keep` allows.

    Return the paths of the removed drops. To make room the oldest goes first; in the archive every superseded revision
    goes before the newest of any job. A drop's age comes from Keyturn's own record (the time in the claim's id,
    REJECTED.json), never from the times of the files, which come from artists' machines. A folder without such a
    record belongs to somebody else and stays. `alive` is called for each drop measured or removed: a large archive
    takes a while. What cannot be removed, such as an artist's folder that is closed to the group, is logged, and the
    rest goes. Raise OSError where the folders cannot be read.
    """
    faults = _finish_removals(shop)
    removed: list[Path] = []
    for find, days, gib in (
        (_archived, keep.archive_days, keep.archive_gib),
        (_rejected, keep.rejects_days, keep.rejects_gib),
    ):
        drops = list(find(shop))
        for path in dict.fromkeys([*_too_old(drops, days, now), *_too_large(drops, gib, now, alive)]):
            alive()
            try:
                _remove(path)
            except OSError as error:
                faults.append(error)
            else:
                place = path.relative_to(shop.root)
                logger.info("removed {}: older or larger than [keep] in keyturn.toml allows", place)
            if not path.exists():
                removed.append(path)
    if faults:
        logger.warning(
            "{} old drops could not be removed whole, the first for this: {}; their owners or root can",
            len(faults),
            faults[0],
        )
    return removed


def _finish_removals(shop: Shop) -> list[OSError]:
    """Finish removals that were cut off. Return why some could not be."""
    faults = []
    for folder in (shop.rejects, shop.archive, *filter(is_plain_folder, shop.archive.iterdir())):
        try:
            remove_left_over(folder, _BEING_REMOVED, of_anyone=True)  # a drop belongs to the artist
        except OSError as error:
            faults.append(error)
    return faults


def _too_old(drops: Iterable[StoredDrop], days: float, now: datetime) -> Iterator[Path]:
    """Yield the drops that have been there longer than `days`; none where `days` is 0, which means for ever."""
    if days > 0:
        yield from (drop.path for drop in drops if now - drop.since > timedelta(days=days))


def _too_large(drops: Iterable[StoredDrop], gib: float, now: datetime, alive: Callable[[], object]) -> Iterator[Path]:
    """Yield the drops to remove so that the rest fits into `gib`; none where `gib` is 0, which means no limit."""
    if gib <= 0:
        return
    sizes = {}
    for drop in drops:
        sizes[drop] = _bytes_in(drop.path)
        alive()
    excess = sum(sizes.values()) - gib * _GIB
    for drop in sorted(sizes, key=lambda d: (not d.superseded, d.since, d.path)):
        if excess > 0 and now - drop.since > FRESH:
            excess -= sizes[drop]
            yield drop.path


def _bytes_in(folder: Path) -> int:
    """Return the bytes that the folder takes on the disk: blocks of 512 bytes (stat(2), st_blocks)."""
    return sum(_own_bytes(path) for path in (folder, *folder.rglob("*")))


def _own_bytes(path: Path) -> int:
    """Return 0 for what may not be looked at, or has just gone."""
    try:
        return path.lstat().st_blocks * 512
    except OSError:
        return 0


def _archived(shop: Shop) -> Iterator[StoredDrop]:
    """Yield the drops in the archive: the folders `<customer>/<job>-r<n>--<claim>`."""
    newest: dict[tuple[Path, str], int] = {}
    found = []
    for path in sorted(shop.archive.glob("*/*--*")):
        revision, _, claim = path.name.partition("--")
        since, named = _time_in(claim), job_and_number(revision)
        if since is not None and named is not None and is_plain_folder(path):
            job, number = (path.parent, named[0]), named[1]
            newest[job] = max(number, newest.get(job, 0))
            found.append((path, since, job, number))
    yield from (StoredDrop(path, since, superseded=number < newest[job]) for path, since, job, number in found)


def _time_in(claim: str) -> datetime | None:
    """Return the time in a claim's id; None where there is none."""
    try:
        return datetime.strptime(claim.partition("-")[0], _CLAIM_TIME).replace(tzinfo=UTC)
    except ValueError:
        return None


def _rejected(shop: Shop) -> Iterator[StoredDrop]:
    """Yield the folders in rejects whose REJECTED.json has a time with its offset."""
    for path in sorted(shop.rejects.iterdir()):
        rejection = record_files.read_rejection(path) if is_plain_folder(path) else None
        if rejection is None:
            continue
        try:
            since = datetime.fromisoformat(rejection.rejected_at)
        except ValueError:
            continue
        if since.tzinfo is not None:
            yield StoredDrop(path, since)


def _remove(path: Path) -> None:
    """Hide a drop by one rename, then remove it: what is half removed must not look like a drop."""
    hidden = path.with_name(f"{_REMOVING}{secrets.token_hex(6)}")  # the drop's own name may leave no room for a prefix
    path.rename(hidden)
    durable_files.fsync_dir(path.parent)
    remove_left_over(path.parent, re.compile(re.escape(hidden.name)), of_anyone=True)
