"""Art that came packed beside job.toml, and what is said of a drop whose job.toml may be inside an archive.

An archive is unpacked where the drop holds no other art than its logo. Its files then lie where a person would unpack
them: beside job.toml, or, where there are several archives, in a folder named after each.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path, PurePosixPath

from keyturn.inbox.artist_folder import is_archive
from keyturn.inbox.survey import Survey, survey
from keyturn.inbox.unpack import unpack
from keyturn.manifest.models import FILE_NAME
from keyturn.normalize.drop_files import DropFiles, listed, look_into
from keyturn.shop.reasons import Reason, Refused, mended, note, refuse
from keyturn.shop.rulebook import Rulebook


def with_packed_art(found: Survey, scratch: Path, rules: Rulebook) -> tuple[Survey, list[Reason]]:
    """Return the drop with the art of its archives unpacked in `scratch`, and the reasons.

    Raise `Refused` where an archive cannot be unpacked, or holds a file that lies in the drop already.
    """
    archives = [name for name in found.files if "/" not in name and is_archive(found.root / name, rules)]
    if not archives:
        return found, []
    if _has_art(look_into(found, rules.intake, rules.kinds)):
        what = "is an archive beside other pictures; left out"
        return found, [note("archive-left-out", what, "unpack it, if its pictures belong here", file=archives[0])]
    root = scratch / "with-art"
    left_mib = rules.intake.caps.drop_mib - _mib(found.root / name for name in found.files)
    for name in archives:
        into = root / PurePosixPath(name).stem.removesuffix(".tar") if len(archives) > 1 else root
        into.mkdir(parents=True)
        caps = rules.intake.caps.model_copy(update={"drop_mib": max(left_mib, 0)})
        unpack(found.root / name, into, rules.intake.model_copy(update={"caps": caps}), name=name, fat=rules.usb.fat)
        left_mib -= _mib(into.rglob("*"))
    _lay_beside(found, [name for name in found.files if name not in archives], root)
    inner = survey(root, rules.intake)
    unpacked = [mended("archive-unpacked", f"was unpacked, with {_count(inner, found)} files", file=archives[0])]
    return replace(inner, reasons=()), [*unpacked, *inner.reasons]


def _has_art(files: DropFiles) -> bool:
    """Has the drop other art than one that is called as a logo?"""
    return any("logo" not in PurePosixPath(name).stem.casefold() for name in files.art.difference(_packed(files)))


def _packed(files: DropFiles) -> list[str]:
    return sorted(name for name, kind in files.not_taken.items() if kind.packed)


def _mib(paths: Iterable[Path]) -> float:
    return sum(path.stat().st_size for path in paths if path.is_file()) / 2**20


def _count(inner: Survey, found: Survey) -> int:
    return len(set(inner.files) - set(found.files))


def _lay_beside(found: Survey, names: Iterable[str], root: Path) -> None:
    """Lay the drop's own files beside the unpacked ones. Raise `Refused` where both have one of the same name."""
    doubled = [name for name in names if os.path.lexists(root / name) and name != FILE_NAME]
    if doubled:
        what = f"lies in the drop and in its archive, and so do {len(doubled) - 1} more" if doubled[1:] else ""
        what = what or "lies in the drop and in its archive"
        raise Refused([refuse("archive-doubles", what, "keep one of them", file=doubled[0])])
    for name in names:
        target = root / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.unlink(missing_ok=True)
        try:
            os.link(found.root / name, target)
        except OSError:  # another file system, or one without links
            shutil.copyfile(found.root / name, target)


def without_manifest(found: Survey, missing: tuple[Reason, ...], rules: Rulebook) -> list[Reason]:
    """Return what to say where no manifest was found: `missing`, or what the drop is instead.

    It may be an archive that is not read, several of them, or a picture alone.
    """
    if [reason.code for reason in missing] != ["manifest-missing"] or missing[0].file is not None:
        return list(missing)
    files = look_into(found, rules.intake, rules.kinds)
    if packed := _packed(files):
        kind = files.not_taken[packed[0]]
        return [refuse("picture-kind", f"is {kind.what}", kind.way_out, file=packed[0])]
    archives = [name for name in found.files if is_archive(found.root / name, rules)]
    if len(archives) > 1:
        what = f"there are several archives and no {FILE_NAME} beside them: {listed(archives)}"
        mend = f"send each as a drop of its own, or put a {FILE_NAME} beside them"
        return [refuse("archives-without-manifest", what, mend, file=archives[0])]
    if len(found.files) == 1:
        name = found.files[0]
        other = files.not_taken.get(name)
        what = f"is {other.what}" if other else f"came alone, without a {FILE_NAME}"
        mend = f"put it into a folder with a {FILE_NAME} that names customer and radio"
        return [refuse("file-alone", what, f"{other.way_out}; then {mend}" if other else mend, file=name)]
    return list(missing)
