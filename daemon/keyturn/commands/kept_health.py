"""What `keyturn doctor` says of the finished frames that are kept for later revisions."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from keyturn.commands.finding import Finding, Health, well
from keyturn.shop import settings
from keyturn.shop.disk_look import write_error
from keyturn.shop.folders import Shop
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.reasons import ShopFault
from keyturn.shop.units import GIB, readable_size


def kept(shop: Shop) -> Iterator[Finding]:
    """Tell how much of the disk they take, and whether more can be kept."""
    try:
        gib = settings.load(shop.root).keep.frames_gib
        there = shop.kept.is_dir()
    except (ShopFault, OSError):
        return  # the look at the settings reports it, or that at the service's lock: this user may not look into state
    place = shop.kept.relative_to(shop.root)
    takes = readable_size(KeptResults(shop.kept, int(gib * GIB)).size())
    if not gib:
        yield well(f"finished frames are not kept for revisions (frames_gib = 0 under [keep]); {place} has {takes}")
    elif there and (write_error(shop.kept) or not _may_write(shop.kept)):
        what = f"finished frames cannot be kept in {place}, so that each revision is made from the beginning"
        yield Finding(Health.MIND, what, f"give Keyturn's user the right to write there, or delete {place}")
    else:
        yield well(f"finished frames kept in {place} take {takes} of at most {gib:g} GiB; they can be deleted")


def _may_write(folder: Path) -> bool:
    return os.access(folder, os.W_OK | os.X_OK, effective_ids=True)
