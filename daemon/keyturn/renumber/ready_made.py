"""A drop that holds a ready-made bootanimation.zip: unpacked, mended, and made anew for its radio.

The archive's rows, rate and pauses fill in what the artist's own manifest does not say. Its frames then go through
the stages like any other art.
"""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from keyturn.inbox.survey import Survey, survey
from keyturn.inbox.unpack import unpack
from keyturn.manifest import manifest_file
from keyturn.manifest.models import Manifest, Motion
from keyturn.radio.desc import TRUSTED_PLAYS, Desc
from keyturn.renumber import ready_made_desc, uncrop
from keyturn.renumber.ready_made_desc import desc_files, read_desc
from keyturn.renumber.ready_made_rows import parts_of_rows, row_folders
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, Refused, mended, note, stop_if_refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import Crew

ARCHIVE = "bootanimation.zip"

MOST_FPS = 60
"""The highest rate that a manifest can state."""

_ARCHIVE_NAMES = (ARCHIVE, f"{ARCHIVE}.zip")  # systems that hide the ending make people write it twice


def holds_bundle(found: Survey, manifest: Manifest) -> bool:
    """Whether the drop has a bootanimation.zip and its manifest names no parts."""
    return not manifest.part and _archive(found) is not None


def _archive(found: Survey) -> str | None:
    if ARCHIVE in found.files:
        return ARCHIVE
    return next((name for name in found.files if name.lower() in _ARCHIVE_NAMES), None)


def adopt(
    found: Survey, manifest: Manifest, scratch: Path, rules: Rulebook, crew: Crew
) -> tuple[Survey, Manifest, tuple[Reason, ...]]:
    """Return the drop with its archive unpacked in `scratch`, a manifest with the archive's parts, and the reasons.

    Raise `Refused` with everything that is wrong with the archive.
    """
    name = _archive(found) or ARCHIVE
    inside = scratch / "adopted"
    inside.mkdir()
    inner, unpacking = _unpacked(found.root / name, inside, rules)
    desc, repairs = read_desc(inner.root, name, max_kib=rules.intake.caps.manifest_kib)
    parts, row_reasons = parts_of_rows(desc, inner.files, _trusted_plays(manifest, rules), name)
    reasons = [note("adopted", "was taken apart and made anew", file=name), *unpacking, *repairs, *row_reasons]
    reasons += _size_reasons(desc, manifest, rules, name)
    stop_if_refused(reasons)
    reasons += _inside_archive(_uncropped(inner, desc, rules, crew), name)
    stop_if_refused(reasons)
    update: dict[str, object] = {"part": parts}
    if "fps" not in manifest.motion.model_fields_set:
        values = manifest.motion.model_dump() | {"fps": min(desc.fps, MOST_FPS)}
        update["motion"] = Motion.model_construct(manifest.motion.model_fields_set, **values)
    return _with_own_files(inner, found, name), manifest.model_copy(update=update), tuple(dict.fromkeys(reasons))


# -- the archive ------------------------------------------------------------------------------------


def _unpacked(archive: Path, into: Path, rules: Rulebook) -> tuple[Survey, list[Reason]]:
    """Return the files of the archive from the folder with desc.txt down, and what was mended.

    Raise `Refused`. Every reason names the archive.
    """
    try:
        reasons = [*unpack(archive, into, rules.intake, name=archive.name, fat=rules.usb.fat)]
    except Refused as refused:
        raise Refused(_inside_archive(refused.reasons, archive.name)) from None
    root, nested = _root(into, archive)
    if nested:
        reasons.append(mended("folder-zipped", "its folder was zipped instead of what is in it: a radio shows nothing"))
    with zipfile.ZipFile(archive) as opened:
        packed = sum(i.compress_type != zipfile.ZIP_STORED and not i.is_dir() for i in opened.infolist())
    if packed:
        what = f"{packed} of its files were compressed, and a radio skips those without a word; now none is"
        reasons.append(mended("compression-taken-out", what))
    inner = survey(root, rules.intake)
    return replace(inner, reasons=()), [*_inside_archive([*reasons, *inner.reasons], archive.name)]


def _root(into: Path, archive: Path) -> tuple[Path, bool]:
    """Return the folder with desc.txt, and whether it lies deeper in the archive than a radio looks."""
    with zipfile.ZipFile(archive) as opened:
        names = [info.filename.replace("\\", "/").removeprefix("./").lower() for info in opened.infolist()]
    if desc_files(into):
        return into, not any(name in names for name in ready_made_desc.NAMES)
    within = [folder for folder in sorted(into.iterdir()) if folder.is_dir() and desc_files(folder)]
    return (within[0], True) if len(within) == 1 else (into, False)


def _inside_archive(reasons: Iterable[Reason], archive: str) -> Iterator[Reason]:
    """Yield the reasons with their files named as files of `archive`."""
    for reason in reasons:
        inside = reason.file is not None and reason.file != archive
        yield reason.model_copy(update={"file": f"{archive}/{reason.file}" if inside else archive})


def _with_own_files(inner: Survey, found: Survey, archive: str) -> Survey:
    """Return the archive's files with copies of the drop's own beside them, such as its logo.

    Where both have a file of one name, the drop's is taken. Files of the drop in a folder that the archive has too
    are left out.
    """
    files = set(inner.files)
    taken = {path.name for path in inner.root.iterdir() if path.is_dir()}
    manifests = manifest_file.candidates(name for name in found.files if "/" not in name)
    for name in found.files:
        if name in (archive, *manifests) or name.partition("/")[0] in taken:
            continue
        target = inner.root / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(found.root / name, target)
        files.add(name)
    return replace(inner, files=tuple(sorted(files)))


def _uncropped(inner: Survey, desc: Desc, rules: Rulebook, crew: Crew) -> tuple[Reason, ...]:
    """Make cropped frames whole, so that they can be fitted to any panel."""
    there = {name.rpartition("/")[0].lower(): name.rpartition("/")[0] for name in inner.files}
    rows = row_folders(desc, inner.files)
    folders = uncrop.folders((there[part.folder.lower()], part.files, part.row.colour) for part in rows)
    return uncrop.uncrop(inner.root, folders, (desc.width, desc.height), crew, rules.intake)


# -- the radios -------------------------------------------------------------------------------------


def _size_reasons(desc: Desc, manifest: Manifest, rules: Rulebook, archive: str) -> list[Reason]:
    sizes = {radio.panel.size for radio in _radios(manifest, rules)}
    if not sizes - {(desc.width, desc.height)}:
        return []
    what = f"was made for a panel of {desc.width} x {desc.height}; its pictures are fitted to this job's"
    return [mended("panel-fitted", what, file=archive)]


def _radios(manifest: Manifest, rules: Rulebook) -> list[Radio]:
    return [radio for name in manifest.radio if isinstance(radio := rules.radio(name), Radio)]


def _trusted_plays(manifest: Manifest, rules: Rulebook) -> int:
    """Return how many plays all of the job's radios are known to count."""
    return min((radio.firmware.max_plays for radio in _radios(manifest, rules)), default=TRUSTED_PLAYS)
