"""`keyturn copy`: a stick folder onto a stick, so that what arrives is what was made.

Checked before: that the target is a stick and not a system's disk, its file system, its space, its names.
Checked after: every file read back from the medium and compared with the SHA-256 in job.json.
Nothing that Keyturn did not write is replaced without leave, and nothing else on the stick is touched.
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
from keyturn.shop.reasons import ShopFault, shop_fault
from keyturn.shop.records import FileRecord, JobRecord, RadioRecord
from keyturn.shop.rulebook import Fat
from keyturn.shop.units import readable_size

FAT32_MOST = 2**32 - 1
"""Bytes of the largest file on FAT32 (Microsoft FAT specification: file size is a 32-bit field)."""

_CHUNK = 1 << 20
_FAT_KINDS = frozenset({"vfat", "msdos"})
_HALFWAY = ".keyturn-part"


@dataclass(frozen=True, slots=True)
class Load:
    """What is to be copied: one radio's folder of a revision."""

    job: JobRecord
    radio: RadioRecord
    folder: Path


def faults(load: Load, target: Path, fat: Fat, *, any_folder: bool, mountinfo: Path = mounts.MOUNTINFO) -> list[str]:
    """What stands against copying, all at once, each with its remedy; empty where nothing does."""
    if not target.is_dir():
        return [f"{target} is not a folder: name the folder where the stick is mounted"]
    found = [] if any_folder else _stick_faults(target, mountinfo)
    found += [f"{file.path}: {fault}" for file in load.radio.files for fault in fat_faults(file.path, fat)]
    found += [f"{f.path} is too large for FAT32" for f in load.radio.files if f.size > FAT32_MOST]
    folders = [f.path for f in load.radio.files if (target / f.path).is_dir()]
    found += [f"{path} is a folder on the stick: take it away" for path in folders]
    space = os.statvfs(target)
    free, needed = space.f_bavail * space.f_frsize, _needed(load, target)
    if needed > free and space.f_blocks:  # some file systems of user space do not say
        found.append(f"{readable_size(needed)} are needed, {readable_size(free)} are free: use an emptier stick")
    return found


def _needed(load: Load, target: Path) -> int:
    """Bytes. A new file is written beside the old one before it takes its place: the old one's space is no help."""
    return sum(f.size for f in load.radio.files if not _same(target / f.path, f))


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


def in_the_way(load: Load, target: Path) -> tuple[str, ...]:
    """Files of the same names with other contents: they are replaced only with leave."""
    return tuple(f.path for f in load.radio.files if os.path.lexists(target / f.path) and not _same(target / f.path, f))


def copy(load: Load, target: Path, progress: Callable[[int, int], None] = lambda done, total: None) -> None:
    """Copies and verifies. Raises `ShopFault` where the stick fails; where the source is not what was made,
    before anything is written."""
    _check_source(load)
    total = sum(f.size for f in load.radio.files)
    done = 0
    for file in load.radio.files:
        source, place = load.folder / file.path, target / file.path
        try:
            if not _same(place, file):
                _write(source, place)
            if _digest_from_medium(place) != file.sha256:
                raise ShopFault(f"{place} reads back otherwise than it was written", "use another stick")
        except OSError as error:
            raise _stick_failed(error, target) from error
        done += file.size
        progress(done, total)


def _check_source(load: Load) -> None:
    wrong = [str(load.folder / f.path) for f in load.radio.files if not _same(load.folder / f.path, f)]
    if wrong:
        raise ShopFault(f"{', '.join(wrong)}: not as it was made", "make the job again, or take another revision")


def _write(source: Path, place: Path) -> None:
    """Beside the old file first, so that a stick pulled midway has either the old file or the new."""
    place.parent.mkdir(parents=True, exist_ok=True)
    halfway = place.with_name(place.name + _HALFWAY)
    try:
        with source.open("rb") as reader, halfway.open("wb") as writer:
            while chunk := reader.read(_CHUNK):
                writer.write(chunk)
            writer.flush()
            os.fsync(writer.fileno())
        halfway.replace(place)
    except OSError:
        with contextlib.suppress(OSError):  # the stick may be gone
            halfway.unlink(missing_ok=True)
        raise
    durable_files.fsync_dir(place.parent)


def _same(place: Path, file: FileRecord) -> bool:
    plain = place.is_file() and not place.is_symlink()
    return plain and place.stat().st_size == file.size and durable_files.sha256(place) == file.sha256


def _digest_from_medium(place: Path) -> str:
    """SHA-256 of what the medium holds: the kernel is asked to forget its own copy first (posix_fadvise(2))."""
    with place.open("rb") as file:
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    return durable_files.sha256(place)


def _stick_failed(error: OSError, target: Path) -> ShopFault:
    if error.errno == errno.ENOSPC:
        return ShopFault(f"the stick {target} is full", "use an emptier stick")
    if error.errno in (errno.EIO, errno.ENODEV, errno.ENXIO, errno.ENOENT, errno.EROFS):
        return ShopFault(f"the stick {target} stopped answering ({error.strerror})", "plug it in again, or use another")
    return shop_fault(error) or ShopFault(str(error), "use another stick")
