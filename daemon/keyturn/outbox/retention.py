"""What is kept and for how long: archive and rejects by age and by size, never what is not settled."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from loguru import logger

from keyturn.outbox import papers
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from keyturn.shop.settings import KeepSettings

FRESH = timedelta(days=1)
"""What was settled less than so long ago is never removed for its size: somebody may be about to look at it."""

_REMOVING = ".keyturn-removing-"
_CLAIM_TIME = "%Y%m%dT%H%M%S"
_GIB = 2**30


@dataclass(frozen=True, slots=True)
class Kept:
    """A drop in archive or rejects. `superseded` says that a later revision of its job lies in the archive too."""

    path: Path
    since: datetime
    superseded: bool = False


def prune(shop: Shop, keep: KeepSettings, now: datetime, alive: Callable[[], object] = lambda: None) -> list[Path]:
    """Removes what lay in archive or rejects longer, or takes more of the disk, than the shop allows.

    For its size the oldest goes first; in the archive what a later revision has superseded goes before what is a
    job's newest. Age counts from our own record (the claim's time, REJECTED.json), never from file times, which
    come from artists' machines. A folder without such a record is not ours to remove. Returns what went; `alive` is
    called now and then, for large archives take a while.
    """
    _finish(shop)
    gone: list[Path] = []
    for find, days, gib in (
        (_archived, keep.archive_days, keep.archive_gib),
        (_rejected, keep.rejects_days, keep.rejects_gib),
    ):
        for path in [*_aged(find(shop), days, now), *_too_large(find(shop), gib, now, alive)]:
            if path not in gone:
                _remove(path)
                gone.append(path)
                alive()
                logger.info("{} was kept long enough and is removed", path.relative_to(shop.root))
    return gone


def _finish(shop: Shop) -> None:
    """Removals that were cut off."""
    for base in (shop.archive, shop.rejects):
        for left in (*base.glob(f"{_REMOVING}*"), *base.glob(f"*/{_REMOVING}*")):
            shutil.rmtree(left)


def _aged(kept: Iterable[Kept], days: float, now: datetime) -> Iterator[Path]:
    """Zero days is for ever."""
    if days > 0:
        yield from (one.path for one in kept if now - one.since > timedelta(days=days))


def _too_large(kept: Iterable[Kept], gib: float, now: datetime, alive: Callable[[], object]) -> Iterator[Path]:
    """Zero GiB is without limit."""
    if gib <= 0:
        return
    sizes = {}
    for one in kept:
        sizes[one] = _bytes_in(one.path)
        alive()
    over = sum(sizes.values()) - gib * _GIB
    for one in sorted(sizes, key=lambda k: (not k.superseded, k.since, k.path)):
        if over > 0 and now - one.since > FRESH:
            over -= sizes[one]
            yield one.path


def _bytes_in(folder: Path) -> int:
    """What the files take on the disk: 512 bytes a block (stat(2), st_blocks)."""
    return sum(path.lstat().st_blocks * 512 for path in (folder, *folder.rglob("*")))


def _archived(shop: Shop) -> Iterator[Kept]:
    newest: dict[tuple[Path, str], int] = {}
    found = []
    for path in sorted(shop.archive.glob("*/*--*")):
        revision, _, claim = path.name.partition("--")
        since, named = _claimed(claim), job_and_number(revision)
        if since is not None and named is not None and path.is_dir():
            job, number = (path.parent, named[0]), named[1]
            newest[job] = max(number, newest.get(job, 0))
            found.append((path, since, job, number))
    yield from (Kept(path, since, superseded=number < newest[job]) for path, since, job, number in found)


def _claimed(claim: str) -> datetime | None:
    try:
        return datetime.strptime(claim.partition("-")[0], _CLAIM_TIME).replace(tzinfo=UTC)
    except ValueError:
        return None


def _rejected(shop: Shop) -> Iterator[Kept]:
    for path in sorted(shop.rejects.iterdir()):
        rejection = papers.read_rejection(path)
        if rejection is None:
            continue
        try:
            since = datetime.fromisoformat(rejection.rejected_at)
        except ValueError:
            continue
        if since.tzinfo is not None:
            yield Kept(path, since)


def _remove(path: Path) -> None:
    """Hidden by one rename first: a half-removed drop must not look like a drop."""
    hidden = path.with_name(f"{_REMOVING}{secrets.token_hex(6)}")  # a name may be as long as names can be
    path.rename(hidden)
    durable_files.fsync_dir(path.parent)
    shutil.rmtree(hidden)
