"""Which of a shop's folders are open to more people than they should be: an earlier Keyturn made them so."""

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
