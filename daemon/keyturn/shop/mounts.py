"""What is mounted where, and which mounts are sticks: read from proc(5) and sysfs(5). Nothing is mounted here."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

MOUNTINFO = Path("/proc/self/mountinfo")

_ESCAPE = re.compile(r"\\([0-7]{3})")


@dataclass(frozen=True, slots=True)
class Mount:
    """One line of mountinfo: mount point, type of file system, source, and device as "major:minor".

    `writable` is False where the mount or its file system is read-only. Linux makes a FAT file system with errors
    read-only as a whole (mount(8), errors=remount-ro).
    """

    point: Path
    kind: str
    source: str
    device: str
    writable: bool


def mounts(mountinfo: Path = MOUNTINFO) -> tuple[Mount, ...]:
    """Return all mounts in the order they were made; nothing where the system does not say."""
    try:
        lines = mountinfo.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return ()
    return tuple(_mount(line) for line in lines if " - " in line)


def _mount(line: str) -> Mount:
    left, _, right = line.partition(" - ")
    fields, (kind, source, *options) = left.split(" "), right.split(" ")
    return Mount(
        point=Path(_unescaped(fields[4])),
        kind=kind,
        source=_unescaped(source),
        device=fields[2],
        writable=all("ro" not in flags.split(",") for flags in (fields[5], *options)),
    )


def _unescaped(text: str) -> str:
    """Turn mountinfo's octal escapes (blank, tab, newline, backslash) back into characters."""
    return _ESCAPE.sub(lambda found: chr(int(found[1], 8)), text)


def mount_of(path: Path, mountinfo: Path = MOUNTINFO) -> Mount | None:
    """Return the mount that holds `path`: of the deepest mounts, the last. None where the system does not say."""
    target = path.resolve()
    around = [m for m in mounts(mountinfo) if target == m.point or target.is_relative_to(m.point)]
    return max(reversed(around), key=lambda m: len(m.point.parts), default=None)


def mounted_at(target: Path, mountinfo: Path = MOUNTINFO) -> Mount | None:
    """Return what is mounted at `target` itself; None where nothing is."""
    mount = mount_of(target, mountinfo)
    return mount if mount is not None and mount.point == target.resolve() else None


def file_system(path: Path, mountinfo: Path = MOUNTINFO) -> str:
    """Return the type of the file system that holds `path`, such as "ext4", or "unknown"."""
    found = mount_of(path, mountinfo)
    return found.kind if found else "unknown"


def is_removable(mount: Mount, sysfs: Path = Path("/sys")) -> bool:
    """Tell whether the mount lies on a disk that the kernel calls removable, or that is connected by USB."""
    place = sysfs / "dev" / "block" / mount.device
    try:
        disk = place.resolve(strict=True)
    except OSError:
        return False
    if (disk / "partition").exists():
        disk = disk.parent
    try:
        flagged = (disk / "removable").read_text().strip() == "1"
    except OSError:
        flagged = False
    return flagged or any(re.fullmatch(r"usb\d+", part) for part in disk.parts)


def sticks(mountinfo: Path = MOUNTINFO, sysfs: Path = Path("/sys")) -> tuple[Mount, ...]:
    """Return the mounts on removable disks, except those on a device that holds part of the system."""
    system = {device(Path(p)) for p in ("/", "/usr", "/boot", "/home", "/var")}
    found = [m for m in mounts(mountinfo) if is_removable(m, sysfs)]
    return tuple(m for m in found if device(m.point) not in system | {None})


def device(path: Path) -> int | None:
    """Return the number of the device that holds `path`; None where `path` is missing or another user's."""
    try:
        return path.stat().st_dev
    except OSError:
        return None


def stick_words(target: Path, mountinfo: Path = MOUNTINFO, disks: Path = Path("/dev/disk")) -> str:
    """Return what people may call the stick that holds `target`: its label, the id of its file system, its place.

    udev names both in /dev/disk, with other characters than letters and digits as \\x20 (blkid(8), udev output).
    """
    mount = mounted_at(target, mountinfo)
    if mount is None:
        return f"the folder {target.resolve()}"
    label, volume = (_named(disks / kind, mount.source) for kind in ("by-label", "by-uuid"))
    known = " ".join(word for word in (label, f"({volume})" if volume else "") if word)
    return f"{known or mount.source} at {mount.point}"


def stick_id(
    target: Path,
    mountinfo: Path = MOUNTINFO,
    disks: Path = Path("/dev/disk"),
    sysfs: Path = Path("/sys"),
) -> str:
    """Return what tells the stick mounted at `target` from another: the id of its file system and the serial number of
    its device, or one of them. Return "" where it tells neither, and for a folder where nothing is mounted.
    """
    mount = mounted_at(target, mountinfo)
    if mount is None:
        return ""
    return " ".join(filter(None, (_named(disks / "by-uuid", mount.source), _serial(sysfs, mount.device))))


def _serial(sysfs: Path, device: str) -> str:
    """Return the serial number that the USB device tells (sysfs-bus-usb); "" where it tells none."""
    try:
        disk = (sysfs / "dev" / "block" / device).resolve(strict=True)
    except OSError:
        return ""
    for above in disk.parents:
        if (above / "idVendor").is_file():  # the device itself: below it are its interface and its disk
            with suppress(OSError):
                return (above / "serial").read_text(encoding="utf-8", errors="replace").strip()
            return ""
    return ""


def _named(folder: Path, source: str) -> str:
    """Return the name in `folder` that leads to the device `source`; empty where none does."""
    try:
        device_file = Path(source).resolve()
        found = next((path.name for path in sorted(folder.iterdir()) if path.resolve() == device_file), "")
    except OSError:
        return ""
    return re.sub(r"(?:\\x[0-9a-f]{2})+", _unpacked, found)


def _unpacked(found: re.Match[str]) -> str:
    return bytes.fromhex(found[0].replace("\\x", "")).decode("utf-8", "replace")
