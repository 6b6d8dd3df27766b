"""Find the artist's own folder in a drop: the drop itself, its one zip unpacked, or the one folder inside."""

from __future__ import annotations

from pathlib import Path

from keyturn.inbox.survey import OURS
from keyturn.inbox.unpack import unpack
from keyturn.manifest import manifest_file
from keyturn.shop.file_names import is_junk
from keyturn.shop.reasons import Reason, mended
from keyturn.shop.rulebook import Rulebook


def artist_folder(drop: Path, scratch: Path, rules: Rulebook) -> tuple[Path, list[Reason]]:
    """Return the folder that holds the manifest, and what was mended on the way.

    A drop that is one zip is unpacked into `scratch`. Raise `Refused` where the zip cannot be unpacked.
    """
    folder, reasons = _unpacked(drop, scratch, rules)
    folders = [path for path in folder.iterdir() if path.is_dir() and not path.is_symlink()]
    nested = [path for path in folders if manifest_file.in_folder(path)]
    if len(nested) != 1 or manifest_file.in_folder(folder):
        return folder, reasons
    what = f"the drop lay in a folder of its own ({nested[0].name}/)"
    return nested[0], [*reasons, mended("folder-in-folder", what)]


def _unpacked(drop: Path, scratch: Path, rules: Rulebook) -> tuple[Path, list[Reason]]:
    zip_path = _lone_zip(drop, rules)
    if zip_path is None:
        return drop, []
    into = scratch / "unpacked"
    into.mkdir()
    return into, [*unpack(zip_path, into, rules.intake, name=zip_path.name, fat=rules.usb.fat)]


def _lone_zip(drop: Path, rules: Rulebook) -> Path | None:
    """Return the zip that is the drop's only file, or None. A bootanimation.zip is art, not a zipped drop."""
    files = [path for path in drop.iterdir() if path.name not in OURS and not is_junk(path.name, rules.intake.names)]
    if len(files) != 1 or files[0].suffix.lower() != ".zip" or files[0].name == "bootanimation.zip":
        return None
    return files[0] if files[0].is_file() and not files[0].is_symlink() else None
