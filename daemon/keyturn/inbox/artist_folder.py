"""Find the artist's own folder in a drop: the drop itself, its one archive unpacked, or the one folder inside."""

from __future__ import annotations

from pathlib import Path

from keyturn.inbox.survey import OURS
from keyturn.inbox.tar_files import TAR_ENDINGS, form_of
from keyturn.inbox.unpack import unpack
from keyturn.manifest import manifest_file
from keyturn.shop.file_names import is_junk
from keyturn.shop.named_kinds import START_BYTES
from keyturn.shop.reasons import Reason, Refused, mended, refuse
from keyturn.shop.rulebook import Rulebook

_LEVELS = 2
"""A zip in a zip is unpacked as well; a third one inside is not."""


def artist_folder(drop: Path, scratch: Path, rules: Rulebook) -> tuple[Path, list[Reason]]:
    """Return the folder that holds the manifest, and what was mended on the way.

    A drop that is one archive is unpacked into `scratch`. Raise `Refused` where it cannot be unpacked.
    """
    folder, reasons = _unpacked(drop, scratch, rules)
    folders = [path for path in folder.iterdir() if path.is_dir() and not path.is_symlink()]
    nested = [path for path in folders if manifest_file.in_folder(path)]
    if len(nested) != 1 or manifest_file.in_folder(folder):
        return folder, reasons
    what = f"the drop lay in a folder of its own ({nested[0].name}/)"
    return nested[0], [*reasons, mended("folder-in-folder", what)]


def _unpacked(drop: Path, scratch: Path, rules: Rulebook) -> tuple[Path, list[Reason]]:
    """Return the folder of what is in the drop's one archive, and in that one's; the drop itself without any."""
    folder, reasons, intake = drop, list[Reason](), rules.intake
    for level in range(_LEVELS):
        archive = _lone_archive(folder, rules)
        if archive is None:
            return folder, reasons
        if level:
            reasons.append(
                mended("archive-in-archive", "lay packed in an archive; both were unpacked", file=archive.name)
            )
        folder = scratch / f"unpacked{level or ''}"
        folder.mkdir()
        reasons += unpack(archive, folder, intake, name=archive.name, fat=rules.usb.fat)
        if level == 0:
            left = (
                intake.caps.drop_mib - sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 2**20
            )
            caps = intake.caps.model_copy(update={"drop_mib": max(left, 0)})
            intake = intake.model_copy(update={"caps": caps})
    if (archive := _lone_archive(folder, rules)) is not None:
        what, mend = "lies in an archive within an archive", "zip the folder itself, once"
        raise Refused([*reasons, refuse("archive-in-archive", what, mend, file=archive.name)])
    return folder, reasons


def _lone_archive(drop: Path, rules: Rulebook) -> Path | None:
    """Return the archive that is the drop's only file, or None."""
    files = [path for path in drop.iterdir() if path.name not in OURS and not is_junk(path.name, rules.intake.names)]
    return files[0] if len(files) == 1 and is_archive(files[0], rules) else None


def is_archive(path: Path, rules: Rulebook) -> bool:
    """Tell whether the file is a zip or tar to be unpacked, also a damaged one.

    A bootanimation.zip is art, and a zip of another name is often a program's own kind of file.
    """
    name = path.name.lower()
    if not path.is_file() or path.is_symlink() or name in ("bootanimation.zip", "bootanimation.zip.zip"):
        return False
    form = form_of(path)
    if form:
        return form == "tar" or name.endswith(".zip")
    with path.open("rb") as file:
        other = rules.kinds.of("", file.read(START_BYTES))
    if name.endswith(TAR_ENDINGS):
        return other is None or not other.packed
    return other is None and name.endswith(".zip")
