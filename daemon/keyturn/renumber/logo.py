"""Which picture of a drop is the boot logo."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath

from keyturn.manifest.models import Manifest
from keyturn.normalize.drop_files import DropFiles
from keyturn.renumber.patterns import one_file
from keyturn.shop.reasons import Reason, refuse


def job_logo(manifest: Manifest, files: Sequence[str], kinds: DropFiles) -> tuple[str | None, list[Reason]]:
    wanted = manifest.logo.art
    if wanted == "first-frame":
        return None, []
    if wanted is not None:
        return one_file(wanted, files, "logo-missing", "name one picture, or first-frame", "logo.art")
    found = [name for name in files if is_logo(name) and name in kinds.art]
    if len(found) < 2:
        return (found[0] if found else None), []
    what = f"there are several logos: {', '.join(found)}"
    return found[0], [refuse("logo-doubled", what, "keep one, or name it under [logo]", file=found[0])]


def is_logo(name: str) -> bool:
    return "/" not in name and PurePosixPath(name).stem.lower() == "logo"
