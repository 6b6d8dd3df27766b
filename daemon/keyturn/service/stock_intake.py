"""Stock files from the inbox: kept once for each radio of a customer, under a name that never changes.

The same files again are archived. Others are refused, and the ones that are there stay: a fitter at the vehicle must
not have to choose between two ways back, and only the shop's people can know which one the radio came with.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from loguru import logger

from keyturn.outbox import restore_folders
from keyturn.pipeline import stock
from keyturn.pipeline.bench import Bench
from keyturn.pipeline.stock import StockDrop
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.records import RestoreRecord


@dataclass(frozen=True, slots=True)
class BuiltStock:
    """Stock files on their way to `target` in the outbox. `staged` is None where they are there already."""

    target: str
    staged: Path | None


def built(found: StockDrop, claim: Claim, folders: DropFolders, bench: Bench) -> BuiltStock:
    """Build what goes to the outbox. Raise `Refused` where other stock files of that radio are kept."""
    staged = folders.staging(claim)
    record = stock.build(found, claim.id, claim.name, staged, bench)
    there = folders.shop.outbox / found.target
    if not os.path.lexists(there):
        return BuiltStock(found.target, staged)
    kept = restore_folders.read(there)
    if kept is not None and restore_folders.same_files(there, kept, record):
        folders.remove_staging(claim)
        return BuiltStock(found.target, None)
    reason = _differs(record, kept, found.target)
    raise Refused([reason], customer=found.manifest.customer, root=found.found.root)


def _differs(record: RestoreRecord, kept: RestoreRecord | None, target: str) -> Reason:
    mend = f"keep those, or move outbox/{target} away first if they are not what the radio came with"
    if kept is None:
        return refuse("stock-differs", f"something else lies in outbox/{target}", mend)
    before = {file.path: file.sha256 for file in kept.files}
    other = next((file.path for file in record.files if before.get(file.path) != file.sha256), None)
    what = f"other stock files of {record.radio} are kept in outbox/{target}, since {kept.kept_at[:10]}"
    return refuse("stock-differs", f"{what}: {other} differs" if other else what, mend)


def keep(made: BuiltStock, claim: Claim, folders: DropFolders) -> None:
    """Publish the stock files, or archive them where the same ones are kept already."""
    if made.staged is None:
        folders.archive_slip(claim, made.target)
        logger.success("{}: the same stock files are kept already in outbox/{}", claim.name, made.target)
    else:
        folders.publish(claim, made.staged, made.target)
        logger.success("{}: stock files kept in outbox/{}", claim.name, made.target)
