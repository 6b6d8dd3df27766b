"""Where a user's own caches lie."""

from __future__ import annotations

import os
from pathlib import Path


def user_cache() -> Path | None:
    """Return the folder of Keyturn's caches of the user who runs it; None for a user without a home.

    It need not be there. Source: XDG Base Directory Specification 0.8, $XDG_CACHE_HOME, of which a relative path is
    passed over.
    """
    wanted = os.environ.get("XDG_CACHE_HOME", "")
    try:
        caches = Path(wanted) if wanted.startswith("/") else Path("~/.cache").expanduser()
    except RuntimeError:
        return None
    return caches / "keyturn"
