"""Puts the shop's folders in order after the service was killed or a step failed half-way."""

from __future__ import annotations

import glob
import os
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from loguru import logger

from keyturn.inbox.moving import UNFINISHED, free_name, move, remove
from keyturn.outbox import published_digests, record_files
from keyturn.service import abrupt_ends
from keyturn.service.claims import CLAIM_ID, LEAVING, Claim, left_by, read_record
from keyturn.service.drop_folders import DropFolders
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from keyturn.shop.listing import listed
from keyturn.shop.own_files import is_own_folder, is_plain_folder, remove_left_over


def recover(folders: DropFolders, alive: Callable[[], object] = lambda: None) -> tuple[Claim, ...]:
    """Finish or undo what was left half done. Return the drops still to be made, the one claimed first at the head.

    It may be killed at any point and run again. `alive` is called before each customer's revisions and each drop in
    work is looked at: moving a large one to the archive on another mount takes a while. Raise OSError where the disk
    fails.
    """
    shop = folders.shop
    alive()
    published_digests.adopt_all(shop.published, shop.outbox, alive)
    _remove_half_written(shop)
    _finish_claims_from_another_mount(folders, alive)
    claims = []
    for place in sorted(p for p in shop.work.iterdir() if p.is_dir()):
        alive()
        shutil.rmtree(place / "scratch", ignore_errors=True)  # scratch is made anew at the next try
        claims.append(_resumed(folders, place.name))
    if is_own_folder(shop.building):
        remove_left_over(shop.building, CLAIM_ID)
    found = tuple(claim for claim in claims if claim is not None)
    abrupt_ends.note_other_ends(shop.work, found)
    return found


def _resumed(folders: DropFolders, claim_id: str) -> Claim | None:
    """Return the drop that is still to be made. One that fails here fails again when it is made: it alone, then."""
    try:
        return folders.resume(claim_id)
    except OSError as error:
        logger.warning("{}: {}", claim_id, error)
        return Claim(id=claim_id, name=claim_id, form="folder", claimed_at="")


def _remove_half_written(shop: Shop) -> None:
    """Remove half copies of drops, and half-written files of Keyturn's own in state, outbox and refused drops."""
    for folder in _targets_of_moves(shop):
        remove_left_over(folder, UNFINISHED)
    for base in (shop.state, shop.published, shop.outbox):
        for folder in (base, *filter(is_plain_folder, base.iterdir())):
            remove_left_over(folder, durable_files.HALF_WRITTEN)
    for folder in filter(is_plain_folder, shop.rejects.iterdir()):
        with suppress(PermissionError):  # it is the artist's, and may be closed to us
            remove_left_over(folder, durable_files.HALF_WRITTEN)


def _targets_of_moves(shop: Shop) -> list[Path]:
    """Return the folders in which a move between mounts may have left half a copy."""
    folders = [shop.inbox, shop.rejects, shop.archive, shop.work]
    folders += [p for f in (shop.archive, shop.work) for p in f.iterdir() if is_plain_folder(p)]
    folders += [p / "drop" for p in shop.work.iterdir() if (p / "drop").is_dir()]
    return folders


def _finish_claims_from_another_mount(folders: DropFolders, alive: Callable[[], object]) -> None:
    """Remove each hidden drop in the inbox whose copy in work is whole, or was and has gone on since; put every other
    one back under its name."""
    shop = folders.shop
    for leaving in listed(shop.inbox, f"{LEAVING}*"):
        alive()
        claim_id, name = left_by(leaving.name)
        claim = read_record(shop.work / claim_id / "claim.json", Claim)
        whole = claim is not None and os.path.lexists(folders.artist_path(claim))
        if whole or _has_gone_on(shop, claim_id):
            remove(leaving)
        else:
            move(leaving, free_name(shop.inbox, name))


def _has_gone_on(shop: Shop, claim_id: str) -> bool:
    """Tell whether the claim's drop lies in archive or rejects: its share went away before the original was removed."""
    if any(listed(folder, f"*--{glob.escape(claim_id)}") for folder in filter(is_plain_folder, shop.archive.iterdir())):
        return True
    rejections = (record_files.read_rejection(folder) for folder in shop.rejects.iterdir())
    return any(rejection is not None and rejection.claim == claim_id for rejection in rejections)
