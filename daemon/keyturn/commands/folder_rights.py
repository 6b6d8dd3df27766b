"""Which of a shop's folders have other rights than they should have: an earlier Keyturn made them so."""

from __future__ import annotations

import stat
from collections.abc import Iterator

from keyturn.shop.folders import Shop


def too_open(shop: Shop) -> Iterator[tuple[str, str]]:
    """Yield what is too open, each with its remedy. Folders that are there are changed by nobody but the operator."""
    if not shop.outbox.is_dir():
        return
    mode = shop.outbox.stat().st_mode
    if mode & stat.S_IWGRP and not mode & stat.S_ISVTX:
        what = f"whoever may write in {shop.outbox} may take away or replace what the service published"
        yield what, f"chmod +t {shop.outbox}"
    if mode & stat.S_IXOTH and shop.root.stat().st_mode & stat.S_IXOTH:
        yield f"every user of this machine may look into {shop.outbox}", f"chmod o-rwx {shop.root}"


def keeps_group_back(shop: Shop) -> Iterator[tuple[str, str]]:
    """Yield where the shop's group is not handed on to what is refused, with the remedy."""
    if shop.work.is_dir() and not shop.work.stat().st_mode & stat.S_ISGID:
        what = (
            f"{shop.work} does not hand its group on: what artists add to a refused drop may be closed to the service"
        )
        yield what, f"chmod g+s {shop.work}"
