"""What is kept and for how long: archive and rejects by age, never what is not settled."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from loguru import logger

from keyturn import disk, office
from keyturn.settings import KeepSettings
from keyturn.shop import Shop

_REMOVING = ".keyturn-removing-"
_CLAIM_TIME = "%Y%m%dT%H%M%S"


def prune(shop: Shop, keep: KeepSettings, now: datetime) -> list[Path]:
    """Removes drops that lay in archive or rejects longer than the shop keeps them; returns what went.

    Age counts from our own record (the claim's time, REJECTED.json), never from file times, which come
    from artists' machines. A folder without such a record is not ours to remove.
    """
    _finish(shop)
    gone = [
        *_remove(_aged(_archived(shop), keep.archive_days, now)),
        *_remove(_aged(_rejected(shop), keep.rejects_days, now)),
    ]
    for folder in gone:
        logger.info("{} was kept long enough and is removed", folder.relative_to(shop.root))
    return gone


def _finish(shop: Shop) -> None:
    """Removals that were cut off."""
    for base in (shop.archive, shop.rejects):
        for left in (*base.glob(f"{_REMOVING}*"), *base.glob(f"*/{_REMOVING}*")):
            shutil.rmtree(left)


def _aged(dated: Iterator[tuple[Path, datetime]], days: float, now: datetime) -> Iterator[Path]:
    """Zero days is for ever."""
    if days > 0:
        yield from (path for path, since in dated if now - since > timedelta(days=days))


def _archived(shop: Shop) -> Iterator[tuple[Path, datetime]]:
    for path in sorted(shop.archive.glob("*/*--*")):
        since = _claimed(path.name.partition("--")[2])
        if since is not None and path.is_dir():
            yield path, since


def _claimed(claim: str) -> datetime | None:
    try:
        return datetime.strptime(claim.partition("-")[0], _CLAIM_TIME).replace(tzinfo=UTC)
    except ValueError:
        return None


def _rejected(shop: Shop) -> Iterator[tuple[Path, datetime]]:
    for path in sorted(shop.rejects.iterdir()):
        rejection = office.read_rejection(path)
        if rejection is None:
            continue
        try:
            since = datetime.fromisoformat(rejection.rejected_at)
        except ValueError:
            continue
        if since.tzinfo is not None:
            yield path, since


def _remove(paths: Iterator[Path]) -> Iterator[Path]:
    """Hidden by one rename first: a half-removed drop must not look like a drop."""
    for path in list(paths):
        hidden = path.with_name(f"{_REMOVING}{path.name}")
        path.rename(hidden)
        disk.fsync_dir(path.parent)
        shutil.rmtree(hidden)
        yield path
