"""Where in a drop the artist's own folder is: the drop itself, its one zip unpacked, or the one folder inside."""

from __future__ import annotations

from pathlib import Path

from keyturn.inbox.survey import OURS
from keyturn.inbox.unpack import unpack
from keyturn.shop.file_names import is_junk
from keyturn.shop.reasons import Reason, mended
from keyturn.shop.rulebook import Rulebook


def artist_folder(drop: Path, scratch: Path, rules: Rulebook, manifest_name: str) -> tuple[Path, list[Reason]]:
    """Return the folder that holds the manifest, and what was mended on the way.

    A drop that is one zip is unpacked into `scratch`. Raise `Refused` where the zip cannot be unpacked.
    """
    reasons: list[Reason] = []
    lone = _lone_zip(drop, rules)
    if lone is not None:
        drop = scratch / "unpacked"
        drop.mkdir()
        reasons += unpack(lone, drop, rules.intake, name=lone.name, fat=rules.usb.fat)
    folders = [path for path in drop.iterdir() if path.is_dir() and not path.is_symlink()]
    nested = [path for path in folders if (path / manifest_name).is_file()]
    if not (drop / manifest_name).exists() and len(nested) == 1:
        what = f"the drop lay in a folder of its own ({nested[0].name}/)"
        reasons.append(mended("folder-in-folder", what))
        return nested[0], reasons
    return drop, reasons


def _lone_zip(drop: Path, rules: Rulebook) -> Path | None:
    files = [path for path in drop.iterdir() if path.name not in OURS and not is_junk(path.name, rules.intake.names)]
    if len(files) == 1 and files[0].suffix.lower() == ".zip" and files[0].name != "bootanimation.zip":
        return files[0] if files[0].is_file() and not files[0].is_symlink() else None
    return None
