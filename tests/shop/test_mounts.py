"""Mounts and sticks, read from files written as the kernel writes them (proc(5), sysfs(5))."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.shop import mounts

MOUNTS = """\
22 1 254:0 / / rw,relatime shared:1 - ext4 /dev/root rw
30 22 0:40 / /srv/share rw - cifs //files/share rw
31 22 0:41 / /srv/with\\040space rw - nfs4 files:/x rw
32 30 0:42 / /srv/share/local rw - tmpfs tmpfs rw
"""


@pytest.fixture
def mountinfo(tmp_path: Path) -> Path:
    path = tmp_path / "mountinfo"
    path.write_text(MOUNTS)
    return path


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/srv/other", "ext4"),
        ("/srv/share/inbox", "cifs"),
        ("/srv/shared", "ext4"),
        ("/srv/with space/inbox", "nfs4"),
        ("/srv/share/local/x", "tmpfs"),
    ],
)
def test_the_file_system_is_that_of_the_nearest_mount(mountinfo: Path, path: str, kind: str) -> None:
    """Format of the lines: proc(5), /proc/pid/mountinfo."""
    assert mounts.file_system(Path(path), mountinfo) == kind


def test_where_the_system_does_not_say_it_is_unknown(tmp_path: Path) -> None:
    assert mounts.file_system(tmp_path, tmp_path / "missing") == "unknown"


def test_the_kernels_own_list_is_understood() -> None:
    points = {str(m.point) for m in mounts.mounts()}
    assert "/" in points
    assert mounts.file_system(Path("/proc")) == "proc"


def disk(sysfs: Path, name: str, device: str, *, where: str, removable: str, partition: bool = False) -> None:
    place = sysfs / "devices" / where / name
    place.mkdir(parents=True, exist_ok=True)
    (place / "removable").write_text(removable)
    target = place
    if partition:
        target = place / f"{name}1"
        target.mkdir()
        (target / "partition").write_text("1")
    (sysfs / "dev" / "block").mkdir(parents=True, exist_ok=True)
    (sysfs / "dev" / "block" / device).symlink_to(target)


def test_a_usb_stick_is_removable_and_a_built_in_disk_is_not(tmp_path: Path) -> None:
    disk(tmp_path, "sda", "8:1", where="pci0/usb1/1-2/host0", removable="1", partition=True)
    disk(tmp_path, "sdb", "8:17", where="pci0/usb2/2-1/host1", removable="0", partition=True)
    disk(tmp_path, "nvme0n1", "259:1", where="pci0/nvme", removable="0", partition=True)

    def mount(device: str) -> mounts.Mount:
        return mounts.Mount(Path("/mnt"), "vfat", "/dev/x", device, True)

    assert mounts.is_removable(mount("8:1"), tmp_path)
    assert mounts.is_removable(mount("8:17"), tmp_path), "many USB disks do not call themselves removable"
    assert not mounts.is_removable(mount("259:1"), tmp_path)
    assert not mounts.is_removable(mount("0:42"), tmp_path)


def test_the_disk_that_holds_the_system_is_never_a_stick(tmp_path: Path) -> None:
    disk(tmp_path, "sda", "8:1", where="pci0/usb1/1-2", removable="1", partition=True)
    info = tmp_path / "mountinfo"
    info.write_text("22 1 8:1 / / rw - ext4 /dev/sda1 rw\n")
    assert mounts.sticks(info, tmp_path) == ()


def test_a_stick_is_called_by_its_label_its_volume_and_its_place(tmp_path: Path) -> None:
    """blkid(8) and udev(7): names in /dev/disk lead to the device; other characters than plain ones are \\x20 there."""
    device, stick = tmp_path / "sdx1", tmp_path / "stick"
    device.touch()
    stick.mkdir()
    for kind, name in (("by-label", "VAN\\x20TWO\\xc3\\xa9"), ("by-uuid", "1A2B-3C4D")):
        (tmp_path / "disk" / kind).mkdir(parents=True)
        (tmp_path / "disk" / kind / name).symlink_to(device)
    info = tmp_path / "mountinfo"
    info.write_text(f"30 1 8:1 / {stick} rw - vfat {device} rw\n")
    assert mounts.stick_words(stick, info, tmp_path / "disk") == f"VAN TWO\u00e9 (1A2B-3C4D) at {stick}"
    assert mounts.stick_words(stick, info, tmp_path / "none") == f"{device} at {stick}"
    assert mounts.stick_words(tmp_path, info) == f"the folder {tmp_path}"


def test_a_stick_is_told_from_another_by_its_file_system_and_its_serial_number(tmp_path: Path) -> None:
    """udev names file systems in /dev/disk/by-uuid; a USB device's folder in sysfs has idVendor and, mostly, serial."""
    device, stick = tmp_path / "sdx1", tmp_path / "stick"
    device.touch()
    stick.mkdir()
    (tmp_path / "disk" / "by-uuid").mkdir(parents=True)
    (tmp_path / "disk" / "by-uuid" / "1A2B-3C4D").symlink_to(device)
    usb = tmp_path / "devices" / "usb1" / "1-2"
    disk = usb / "1-2:1.0" / "host6" / "block" / "sdx" / "sdx1"
    disk.mkdir(parents=True)
    (usb / "idVendor").write_text("abcd\n")
    (tmp_path / "devices" / "usb1" / "idVendor").write_text("1d6b\n")
    (tmp_path / "devices" / "usb1" / "serial").write_text("0000:00:14.0\n")  # the hub's, of every stick in it
    (tmp_path / "dev" / "block").mkdir(parents=True)
    (tmp_path / "dev" / "block" / "8:1").symlink_to(disk)
    info = tmp_path / "mountinfo"
    info.write_text(f"30 1 8:1 / {stick} rw - vfat {device} rw\n")
    disks = tmp_path / "disk"
    assert mounts.stick_id(stick, info, disks, tmp_path) == "1A2B-3C4D", "a stick without a serial number"
    (usb / "serial").write_text("0019E06B9C85\n")
    assert mounts.stick_id(stick, info, disks, tmp_path) == "1A2B-3C4D 0019E06B9C85"
    assert mounts.stick_id(stick, info, tmp_path / "none", tmp_path) == "0019E06B9C85"
    assert mounts.stick_id(stick, info, tmp_path / "none", tmp_path / "none") == ""
    assert mounts.stick_id(tmp_path, info, disks, tmp_path) == "", "nothing is mounted there"
