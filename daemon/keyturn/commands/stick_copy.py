"""Copy a radio's folder of a revision onto a stick, and compare what arrived with what was made.

Before the copy, the target is checked: it must be a stick and not a disk of the system, and its file system, free
space and file names must fit. After the copy, every file is read back from the medium and compared with the
SHA-256 in job.json. No other file on the stick is touched; `in_the_way` names the files that the copy would replace.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from keyturn.shop import durable_files, mounts
from keyturn.shop.file_names import fat_faults
from keyturn.shop.name_rules import Fat
from keyturn.shop.reasons import ShopFault, shop_fault
from keyturn.shop.records import FileRecord, JobRecord, RadioRecord, RestoreRecord
from keyturn.shop.units import readable_size

FAT32_MOST = 2**32 - 1
"""Bytes of the largest file on FAT32 (FAT specification, fatgen103: file size is a 32-bit field)."""

_CHUNK = 1 << 20
_FAT_KINDS = frozenset({"vfat", "msdos"})
TAKE_FROM_ARCHIVE = "move the folder away, take the files from the archive and put them into the inbox again"
HALFWAY = ".keyturn-part"


@dataclass(frozen=True, slots=True)
class StickFolder:
    """What goes on the stick: the folder of one radio in a revision, and its records."""

    job: JobRecord
    radio: RadioRecord
    folder: Path

    @property
    def again(self) -> str:
        """What helps where it is not as it was made."""
        return "make the job again, or take another revision"


@dataclass(frozen=True, slots=True)
class RestoreFolder:
    """What goes on the stick to bring a radio back to stock: the folder of the files, and their record."""

    radio: RestoreRecord
    folder: Path

    @property
    def again(self) -> str:
        """What helps where it is not as it was kept."""
        return TAKE_FROM_ARCHIVE


Source = StickFolder | RestoreFolder


def faults(
    source: Source, target: Path, fat: Fat, *, any_folder: bool, mountinfo: Path = mounts.MOUNTINFO
) -> list[str]:
    """Return every fault that forbids the copy, each with its remedy."""
    if not target.is_dir():
        return [f"{target} is not a folder: name the folder where the stick is mounted"]
    found = [] if any_folder else _stick_faults(target, mountinfo)
    found += [f"{file.path}: {fault}" for file in source.radio.files for fault in fat_faults(file.path, fat)]
    found += [f"{source.radio.folder}: {fault}" for fault in _folder_faults(source, fat)]
    found += [f"{f.path} is too large for FAT32" for f in source.radio.files if f.size > FAT32_MOST]
    folders = [f.path for f in source.radio.files if (target / f.path).is_dir()]
    found += [f"{path} is a folder on the stick: take it away" for path in folders]
    space = os.statvfs(target)
    free, needed = space.f_bavail * space.f_frsize, _needed(source, target)
    if needed > free and space.f_blocks:  # some file systems in user space report no size
        found.append(f"{readable_size(needed)} are needed, {readable_size(free)} are free: use an emptier stick")
    return found


def _folder_faults(source: Source, fat: Fat) -> list[str]:
    """Return what is wrong with the name of the folder in the revision: it must lead nowhere else."""
    name = source.radio.folder
    found = list(fat_faults(name, fat))
    if "/" in name or source.folder.is_symlink() or not source.folder.is_dir():
        found.append("is not a folder of the revision: make the job again, or take another revision")
    return found


def _needed(source: Source, target: Path) -> int:
    """Return the bytes needed. A new file is written beside the old one, whose space is free only afterwards."""
    return sum(f.size for f in source.radio.files if not _same(target / f.path, f))


def _stick_faults(target: Path, mountinfo: Path) -> list[str]:
    mount = mounts.mount_of(target, mountinfo)
    if mount is None or mount.point != target.resolve():
        return [f"{target} is not where a stick is mounted: name the stick itself, or say --any-folder"]
    if target.stat().st_dev in {Path(p).stat().st_dev for p in ("/", "/home", "/usr", "/var") if Path(p).exists()}:
        return [f"{target} is a disk of this machine's system: use a stick"]
    found = []
    if mount.kind not in _FAT_KINDS:
        found.append(f"the stick is {mount.kind}; radios read FAT32: format it as FAT32 (its files will be lost)")
    if not mount.writable:
        found.append("the stick is write-protected: move its switch, or mount it writable")
    return found


def in_the_way(source: Source, target: Path) -> tuple[str, ...]:
    """Return the paths of files on the stick that have the same names and other contents."""
    return tuple(
        f.path for f in source.radio.files if os.path.lexists(target / f.path) and not _same(target / f.path, f)
    )


def copy(source: Source, target: Path, progress: Callable[[int, int], None] = lambda done, total: None) -> None:
    """Copy every file, read it back and compare.

    `progress` is called with the bytes done and the bytes of all files. Raise `ShopFault` where the stick fails, or
    where the source is not as it was made, files added to it included; then nothing is written.
    """
    _check_source(source)
    total = sum(f.size for f in source.radio.files)
    done = 0
    for file in source.radio.files:
        place = target / file.path
        try:
            if not _same(place, file):
                _write(source.folder / file.path, place)
            if _digest_from_medium(place) != file.sha256:
                raise ShopFault(f"{place} reads back different from what was written", "use another stick")
        except OSError as error:
            raise _stick_failed(error, target) from error
        done += file.size
        progress(done, total)


def _check_source(source: Source) -> None:
    if extra := _additions(source):
        raise ShopFault(f"{', '.join(extra)}: not made by Keyturn", f"take it away, or {source.again}")
    wrong = [str(source.folder / f.path) for f in source.radio.files if not _same(source.folder / f.path, f)]
    if wrong:
        raise ShopFault(f"{', '.join(wrong)}: changed since it was made", source.again)


def _additions(source: Source) -> list[str]:
    """Return the paths below the folder that no file of the list needs. A link in a folder's place is one of them."""
    files = [Path(f.path) for f in source.radio.files]
    needed = {*files, *(above for path in files for above in path.parents)}
    return [
        str(path)
        for path in sorted(source.folder.rglob("*"))
        if path.relative_to(source.folder) not in needed
        or (path.is_symlink() and path.relative_to(source.folder) not in files)
    ]


def _write(original: Path, place: Path) -> None:
    """Write beside the old file, then rename: a stick that is pulled midway has the old file or the new one."""
    place.parent.mkdir(parents=True, exist_ok=True)
    halfway = place.with_name(place.name + HALFWAY)
    try:
        with original.open("rb") as reader, halfway.open("wb") as writer:
            while chunk := reader.read(_CHUNK):
                writer.write(chunk)
            writer.flush()
            os.fsync(writer.fileno())
        halfway.replace(place)
    except BaseException:  # Ctrl-C too
        with contextlib.suppress(OSError):  # the stick may be unplugged
            halfway.unlink(missing_ok=True)
        raise
    durable_files.fsync_dir(place.parent)


def _same(place: Path, file: FileRecord) -> bool:
    plain = place.is_file() and not place.is_symlink()
    return plain and place.stat().st_size == file.size and durable_files.sha256(place) == file.sha256


def _digest_from_medium(place: Path) -> str:
    """Return the SHA-256 of what the medium holds. The kernel drops its cached copy first (posix_fadvise(2))."""
    with place.open("rb") as file:
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    return durable_files.sha256(place)


def _stick_failed(error: OSError, target: Path) -> ShopFault:
    if error.errno == errno.ENOSPC:
        return ShopFault(f"the stick {target} is full", "use an emptier stick")
    if error.errno in (errno.EIO, errno.ENODEV, errno.ENXIO, errno.ENOENT, errno.EROFS):
        return ShopFault(f"the stick {target} stopped answering ({error.strerror})", "plug it in again, or use another")
    return shop_fault(error) or ShopFault(str(error), "use another stick")
