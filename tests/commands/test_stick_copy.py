"""`keyturn copy`: what arrives on the stick is what was made, and nothing else on it is touched."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from keyturn.commands import stick_copy
from keyturn.commands.stick_copy import StickFolder
from keyturn.shop import mounts
from keyturn.shop.name_rules import Fat
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import FileRecord
from keyturn.shop.rulebook import Rulebook

Needs = Callable[[str], str]


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    """An empty folder that stands for a stick."""
    place = tmp_path / "media" / "stick"
    place.mkdir(parents=True)
    return place


@pytest.fixture
def fat(rules: Rulebook) -> Fat:
    return rules.usb.fat


def held(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


# -- what stands against it -------------------------------------------------------------------------


@pytest.fixture
def mounted(stick: Path, tmp_path: Path) -> Callable[[str], Path]:
    """mounted("vfat /dev/sdb1 rw") returns a mountinfo file, format of proc(5), that has the stick mounted so."""

    def write(how: str, own: str = "rw,nosuid") -> Path:
        path = tmp_path / "mountinfo"
        lines = ["22 1 254:0 / / rw shared:1 - ext4 /dev/root rw", f"40 22 8:17 / {stick} {own} - {how}"]
        path.write_text("\n".join(lines) + "\n")
        return path

    return write


@pytest.fixture
def another_disk(stick: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the stick's folder look like one on another device, since a test cannot plug one in."""
    real = Path.stat

    def stat(path: Path, **how: bool) -> os.stat_result:
        seen = real(path, **how)
        return os.stat_result((*seen[:2], 0x811, *seen[3:])) if path == stick else seen

    monkeypatch.setattr(Path, "stat", stat)


@pytest.mark.usefixtures("another_disk")
def test_a_fat_stick_is_taken(source: StickFolder, stick: Path, fat: Fat, mounted: Callable[[str], Path]) -> None:
    assert stick_copy.faults(source, stick, fat, any_folder=False, mountinfo=mounted("vfat /dev/sdb1 rw")) == []


def test_a_folder_that_is_no_mount_is_not_taken_for_a_stick(
    source: StickFolder, stick: Path, fat: Fat, mounted: Callable[[str], Path], tmp_path: Path
) -> None:
    info = mounted("vfat /dev/sdb1 rw")
    inner = stick / "pictures"
    inner.mkdir()
    for place in (tmp_path / "media", inner):
        (fault,) = stick_copy.faults(source, place, fat, any_folder=False, mountinfo=info)
        assert "not where a stick is mounted" in fault
    assert stick_copy.faults(source, inner, fat, any_folder=True, mountinfo=info) == []


def test_a_place_that_is_not_there_is_said(source: StickFolder, stick: Path, fat: Fat) -> None:
    for place in (stick / "gone", source.folder / "logo.png"):
        (fault,) = stick_copy.faults(source, place, fat, any_folder=True)
        assert "is not a folder" in fault


def test_the_systems_own_disk_is_refused(source: StickFolder, fat: Fat, tmp_path: Path) -> None:
    info = tmp_path / "mountinfo"
    info.write_text("22 1 254:0 / / rw - vfat /dev/root rw\n")
    (fault,) = stick_copy.faults(source, Path("/"), fat, any_folder=False, mountinfo=info)
    assert "system" in fault


@pytest.mark.usefixtures("another_disk")
def test_another_file_system_and_a_write_protected_stick_are_told_together(
    source: StickFolder, stick: Path, fat: Fat, mounted: Callable[[str], Path]
) -> None:
    found = stick_copy.faults(source, stick, fat, any_folder=False, mountinfo=mounted("exfat /dev/sdb1 ro"))
    assert len(found) == 2
    assert "exfat" in found[0] and "FAT32" in found[0]
    assert "write-protected" in found[1]


@pytest.mark.usefixtures("another_disk")
@pytest.mark.parametrize(("own", "whole"), [("ro", "rw"), ("rw", "ro,errors=remount-ro"), ("ro", "ro")])
def test_read_only_is_read_only_wherever_it_stands(
    source: StickFolder, stick: Path, fat: Fat, mounted: Callable[..., Path], own: str, whole: str
) -> None:
    """proc(5): mount options stand before the hyphen, the file system's own after it. mount(8), errors=remount-ro:
    a FAT with faults turns read-only as a whole, while its mount still says rw."""
    (fault,) = stick_copy.faults(
        source, stick, fat, any_folder=False, mountinfo=mounted(f"vfat /dev/sdb1 {whole}", own)
    )
    assert "write-protected" in fault


def test_of_two_mounts_on_one_place_the_later_is_seen(tmp_path: Path) -> None:
    """mount(2): a mount hides what was mounted there before."""
    info = tmp_path / "mountinfo"
    info.write_text("40 22 8:17 / /mnt rw - ext4 /dev/sdb1 rw\n41 40 8:33 / /mnt rw - vfat /dev/sdc1 rw\n")
    assert mounts.file_system(Path("/mnt/x"), info) == "vfat"


def room(free: int) -> Callable[[object], os.statvfs_result]:
    """Return a statvfs that reports so many free bytes, in blocks of 512."""
    return lambda path: os.statvfs_result((512, 512, 10**6, 10**6, free // 512, 0, 0, 0, 0, 255))


def test_too_little_space_is_told_before_anything_is_written(
    source: StickFolder, stick: Path, fat: Fat, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "statvfs", room(512))
    (fault,) = stick_copy.faults(source, stick, fat, any_folder=True)
    assert "0 KiB are free" in fault
    stick_copy.copy(source, stick)
    assert stick_copy.faults(source, stick, fat, any_folder=True) == [], "what is there already needs no space"


def test_an_old_file_of_the_same_size_gives_no_space(
    source: StickFolder, stick: Path, fat: Fat, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The new file is written beside the old one first."""
    for file in source.radio.files:
        (stick / file.path).write_bytes(b"x" * file.size)
    monkeypatch.setattr(os, "statvfs", room(512))
    assert len(stick_copy.faults(source, stick, fat, any_folder=True)) == 1


def with_file(source: StickFolder, path: str, size: int = 1) -> StickFolder:
    file = FileRecord(path=path, size=size, sha256="0" * 64)
    return StickFolder(source.job, source.radio.model_copy(update={"files": (file,)}), source.folder)


@pytest.mark.parametrize("path", ["a:b.png", "con.png", "end. ", "../logo.png", "/etc/hostname", "what?.png"])
def test_names_that_fat_cannot_hold_are_told(source: StickFolder, stick: Path, fat: Fat, path: str) -> None:
    """By 'Naming Files, Paths, and Namespaces'."""
    assert stick_copy.faults(with_file(source, path), stick, fat, any_folder=True)


def test_a_file_beyond_fat32_is_told(
    source: StickFolder, stick: Path, fat: Fat, monkeypatch: pytest.MonkeyPatch
) -> None:
    """FAT specification (fatgen103): a file's size is a 32-bit field."""
    monkeypatch.setattr(os, "statvfs", room(2**40))
    assert stick_copy.faults(with_file(source, "a.bin", 2**32 - 1), stick, fat, any_folder=True) == []
    (fault,) = stick_copy.faults(with_file(source, "a.bin", 2**32), stick, fat, any_folder=True)
    assert "too large for FAT32" in fault


# -- what is in the way -----------------------------------------------------------------------------


def test_only_other_contents_are_in_the_way(source: StickFolder, stick: Path) -> None:
    assert stick_copy.in_the_way(source, stick) == ()
    stick_copy.copy(source, stick)
    assert stick_copy.in_the_way(source, stick) == ()
    (stick / "logo.png").write_bytes(b"another")
    assert stick_copy.in_the_way(source, stick) == ("logo.png",)


def test_a_link_is_in_the_way_even_to_the_same_bytes(source: StickFolder, stick: Path, tmp_path: Path) -> None:
    mine = tmp_path / "mine.png"
    shutil.copyfile(source.folder / "logo.png", mine)
    (stick / "logo.png").symlink_to(mine)
    (stick / "bootanimation.zip").symlink_to("nowhere")
    assert set(stick_copy.in_the_way(source, stick)) == {"logo.png", "bootanimation.zip"}
    stick_copy.copy(source, stick)
    assert not (stick / "logo.png").is_symlink() and mine.is_file()


def test_a_folder_of_that_name_stands_against_it(source: StickFolder, stick: Path, fat: Fat) -> None:
    (stick / "logo.png").mkdir()
    (fault,) = stick_copy.faults(source, stick, fat, any_folder=True)
    assert "logo.png is a folder" in fault


# -- the copy ---------------------------------------------------------------------------------------


def test_what_arrives_is_what_was_made(source: StickFolder, stick: Path) -> None:
    told: list[tuple[int, int]] = []
    stick_copy.copy(source, stick, lambda done, total: told.append((done, total)))
    assert held(stick) == held(source.folder)
    for file in source.radio.files:
        assert hashlib.sha256((stick / file.path).read_bytes()).hexdigest() == file.sha256
    total = sum(f.size for f in source.radio.files)
    assert told[-1] == (total, total)


def test_everything_else_on_the_stick_stays_as_it_was(source: StickFolder, stick: Path) -> None:
    theirs = {"photo.jpg": b"p", "bootanimation.zip.part": b"a download", "stock/bootanimation.zip": b"kept"}
    for name, data in theirs.items():
        (stick / name).parent.mkdir(exist_ok=True)
        (stick / name).write_bytes(data)
    stick_copy.copy(source, stick)
    assert held(stick) == theirs | held(source.folder)


def test_a_file_that_is_there_already_is_not_written_again(source: StickFolder, stick: Path) -> None:
    stick_copy.copy(source, stick)
    before = {p.name: p.stat().st_mtime_ns for p in stick.iterdir()}
    stick_copy.copy(source, stick)
    assert {p.name: p.stat().st_mtime_ns for p in stick.iterdir()} == before


def test_a_source_that_is_not_as_it_was_made_is_refused_before_anything_is_written(
    source: StickFolder, stick: Path
) -> None:
    (source.folder / "logo.png").write_bytes(b"touched up")
    with pytest.raises(ShopFault, match=r"logo\.png: changed since it was made"):
        stick_copy.copy(source, stick)
    (source.folder / "logo.png").unlink()
    with pytest.raises(ShopFault, match=r"logo\.png: changed since it was made"):
        stick_copy.copy(source, stick)
    assert held(stick) == {}


@pytest.mark.parametrize("what", ["autorun.inf", "more/logo.png", "empty/", "link"])
def test_what_was_added_to_the_folder_is_told_and_nothing_is_written(
    source: StickFolder, stick: Path, what: str
) -> None:
    """It would not be copied, but a person who copies the folder by hand would take it along."""
    added = source.folder / what
    if what == "link":
        added.symlink_to("/etc")
    elif what.endswith("/"):
        added.mkdir()
    else:
        added.parent.mkdir(exist_ok=True)
        added.write_bytes(b"theirs")
    with pytest.raises(ShopFault, match="not made by Keyturn"):
        stick_copy.copy(source, stick)
    assert held(stick) == {}


def test_a_stick_that_returns_other_bytes_is_found_out(
    source: StickFolder, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Worn or counterfeit sticks take every write without complaint (common practice, no source)."""
    real = os.fsync

    def wears_out(descriptor: int) -> None:
        real(descriptor)
        name = Path(f"/proc/self/fd/{descriptor}").readlink()
        if name.is_relative_to(stick) and name.is_file():
            with name.open("r+b") as file:
                file.seek(20)
                file.write(b"\xff\xff")

    monkeypatch.setattr(os, "fsync", wears_out)
    with pytest.raises(ShopFault, match="reads back different"):
        stick_copy.copy(source, stick)


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch, stick: Path) -> Callable[[int], None]:
    """failing(EIO) lets fsync fail with that error for files on the stick."""

    def begin(code: int) -> None:
        real = os.fsync

        def fsync(descriptor: int) -> None:
            if Path(f"/proc/self/fd/{descriptor}").readlink().is_relative_to(stick):
                raise OSError(code, os.strerror(code))
            real(descriptor)

        monkeypatch.setattr(os, "fsync", fsync)

    return begin


@pytest.mark.parametrize("code", [errno.EIO, errno.ENODEV, errno.ENXIO, errno.EROFS])
def test_a_stick_pulled_midway_keeps_the_old_file_and_no_half_one(
    source: StickFolder, stick: Path, failing: Callable[[int], None], code: int
) -> None:
    (stick / "bootanimation.zip").write_bytes(b"the old one")
    failing(code)
    with pytest.raises(ShopFault, match="stopped answering"):
        stick_copy.copy(source, stick)
    assert held(stick) == {"bootanimation.zip": b"the old one"}


def test_a_stick_that_is_gone_altogether_is_said(source: StickFolder, stick: Path) -> None:
    stick.rmdir()
    stick.write_bytes(b"")  # no folder can be made there any more
    with pytest.raises(ShopFault):
        stick_copy.copy(source, stick)


def test_a_half_file_of_a_copy_cut_off_is_taken_over(
    source: StickFolder, stick: Path, failing: Callable[[int], None]
) -> None:
    (stick / "logo.png.keyturn-part").write_bytes(b"half")
    (stick / "bootanimation.zip.keyturn-part").write_bytes(b"half")
    stick_copy.copy(source, stick)
    assert held(stick) == held(source.folder)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 16 KiB."""
    place = tmp_path / "small"
    place.mkdir()
    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("mounting a small file system needs root and mount(8)")
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16k", "tmpfs", place], capture_output=True).returncode:
        pytest.skip("this system lets nobody mount a tmpfs here")
    yield place
    subprocess.run(["umount", place], check=True)


@pytest.mark.system
def test_a_full_stick_is_said_and_nothing_half_stays(source: StickFolder, small_disk: Path) -> None:
    (small_disk / "theirs").write_bytes(b"x" * 12_000)
    (small_disk / "logo.png").write_bytes(b"old")
    with pytest.raises(ShopFault, match="is full"):
        stick_copy.copy(source, small_disk)
    assert held(small_disk) == {"theirs": b"x" * 12_000, "logo.png": b"old"}


# -- a real FAT file system -------------------------------------------------------------------------


@pytest.fixture
def fat_image(needs: Needs, tmp_path: Path) -> Path:
    """A stick's file system of 34 MiB, the least that dosfstools makes FAT32."""
    image = tmp_path / "stick.img"
    with image.open("wb") as file:
        file.truncate(34 * 2**20)
    made = subprocess.run([needs("mkfs.vfat"), "-F", "32", "-n", "FERN", image], capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    assert image.read_bytes()[82:90] == b"FAT32   "  # BS_FilSysType, FAT specification (fatgen103)
    return image


@pytest.mark.system
def test_the_folder_survives_fat32_name_by_name_and_byte_by_byte(
    source: StickFolder, fat_image: Path, needs: Needs, tmp_path: Path
) -> None:
    """dosfstools makes the file system and mtools write and read it: both are independent of Keyturn."""
    subprocess.run([needs("mcopy"), "-i", fat_image, "-s", *source.folder.iterdir(), "::"], check=True)
    listing = subprocess.run([needs("mdir"), "-i", fat_image, "-b", "::"], capture_output=True, text=True, check=True)
    assert set(listing.stdout.split()) == {f"::/{file.path}" for file in source.radio.files}
    assert read_back(fat_image, needs, tmp_path / "back") == held(source.folder)


def read_back(image: Path, needs: Needs, into: Path) -> dict[str, bytes]:
    """Return what mtools read from the file system, after fsck.vfat has found no fault in it."""
    checked = subprocess.run([needs("fsck.vfat"), "-n", image], capture_output=True, text=True)
    assert checked.returncode == 0, checked.stdout
    into.mkdir()
    subprocess.run([needs("mcopy"), "-i", image, "-s", "::*", into], check=True)
    return held(into)


@dataclass
class FatMount:
    """The image mounted by fusefat, user-space code, so that no kernel module is needed."""

    place: Path
    program: subprocess.Popen[bytes]
    unmounting: str

    def unmount(self) -> None:
        """Waits until the program has ended: only then has it written everything to the image."""
        subprocess.run([self.unmounting, "-u", self.place], check=True)
        self.program.wait(timeout=30)


@pytest.fixture
def fat_mount(fat_image: Path, stick: Path, needs: Needs) -> Iterator[FatMount]:
    if not os.access("/dev/fuse", os.R_OK | os.W_OK):
        pytest.skip("this machine gives nobody /dev/fuse")
    order, unmounting = [needs("fusefat"), "-f", "-o", "rw+", fat_image, stick], needs("fusermount")
    with subprocess.Popen(order, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as program:
        while program.poll() is None and not stick.is_mount():
            time.sleep(0.02)
        if program.poll() is not None:
            pytest.skip("fusefat cannot mount here")
        mount = FatMount(stick, program, unmounting)
        yield mount
        if stick.is_mount():
            mount.unmount()


@pytest.mark.system
def test_the_copy_onto_a_mounted_fat32_is_sound_when_the_stick_is_out(
    source: StickFolder, fat: Fat, fat_image: Path, fat_mount: FatMount, needs: Needs, tmp_path: Path
) -> None:
    stick = fat_mount.place
    (stick / "logo.png").write_bytes(b"old")
    assert stick_copy.faults(source, stick, fat, any_folder=True) == []
    assert stick_copy.in_the_way(source, stick) == ("logo.png",)
    stick_copy.copy(source, stick)
    fat_mount.unmount()
    assert read_back(fat_image, needs, tmp_path / "back") == held(source.folder)
