"""The folder for the stick, read back by programs that are not Keyturn's."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from keyturn.package.stick import write_stick
from keyturn.package.zip_writer import ZipWriter
from keyturn.shop import rulebook
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import FileRecord

RULES = rulebook.load()
TALL = RULES.radios["tall-768x1024"]


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(not shutil.which(program), reason=f"needs {program}")


def written(path: Path) -> Path:
    with ZipWriter(path) as pack:
        pack.add("desc.txt", b"768 1024 12\np 0 0 part0\n")
        pack.add("part0/0001.png", bytes(25_600))
    return path


def stick(tmp_path: Path, radio=TALL, text: str | None = None) -> tuple[Path, tuple[FileRecord, ...]]:
    folder = tmp_path / "usb"
    folder.mkdir()
    return folder, write_stick(folder, radio, written(tmp_path / "made.zip"), b"\x89PNG logo", text)


def changed(**values: object):
    return TALL.model_copy(update={"stick": TALL.stick.model_copy(update=values)})


def test_the_stick_holds_only_what_the_radio_wants(tmp_path: Path):
    folder, files = stick(tmp_path, text="not for this radio")
    assert sorted(p.name for p in folder.rglob("*")) == ["bootanimation.zip", "logo.png"]
    assert [f.path for f in files] == ["bootanimation.zip", "logo.png"]
    assert not (tmp_path / "made.zip").exists()


def test_radios_that_do_not_mind_get_the_steps(tmp_path: Path):
    folder, files = stick(tmp_path, changed(extra_files=True), "Fern Hollow Mobile Library: café\n")
    assert [f.path for f in files] == ["INSTALL.txt", "bootanimation.zip", "logo.png"]
    assert (folder / "INSTALL.txt").read_text(encoding="utf-8") == "Fern Hollow Mobile Library: café\n"


@pytest.mark.system
@needs("sha256sum")
def test_sizes_and_digests_are_those_of_the_files(tmp_path: Path):
    folder, files = stick(tmp_path, changed(logo="boot/logo.png"))
    sums = "".join(f"{f.sha256}  {f.path}\n" for f in files)
    subprocess.run(["sha256sum", "--check", "--strict"], input=sums, text=True, cwd=folder, check=True)
    assert [f.size for f in files] == [(folder / f.path).stat().st_size for f in files]


def test_every_file_and_folder_of_the_stick_is_synced(tmp_path: Path, monkeypatch):
    synced = set()
    real = os.fsync

    def fsync(descriptor: int) -> None:
        synced.add(Path(f"/proc/self/fd/{descriptor}").readlink())
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    folder, _ = stick(tmp_path, changed(logo="boot/logo.png"))
    assert {folder, *folder.rglob("*")} <= synced


@pytest.mark.parametrize(
    "values",
    [
        {"logo": "logo?.png"},
        {"logo": "aux.png"},
        {"logo": "logo.png."},
        {"logo": "BOOTANIMATION.ZIP"},
        {"logo": "bootanimation.zip"},
        {"logo": "boot//logo.png"},
    ],
)
def test_a_profile_whose_files_no_stick_can_hold_is_the_shops_fault(tmp_path: Path, values: dict[str, str]):
    with pytest.raises(ShopFault, match="tall-768x1024"):
        stick(tmp_path, changed(**values))


@pytest.mark.system
@needs("mcopy")
def test_the_stick_goes_onto_a_fat_file_system_and_comes_back(tmp_path: Path):
    """GNU mtools writes and reads a FAT image without our help."""
    folder, files = stick(tmp_path, changed(extra_files=True), "steps\n")
    image = tmp_path / "stick.img"
    subprocess.run(["mformat", "-C", "-i", image, "-T", "8192", "::"], check=True)
    subprocess.run(["mcopy", "-i", image, "-s", *folder.iterdir(), "::"], check=True)
    (tmp_path / "back").mkdir()
    subprocess.run(["mcopy", "-i", image, "-s", "-n", "::*", tmp_path / "back"], check=True)
    for f in files:
        assert hashlib.sha256((tmp_path / "back" / f.path).read_bytes()).hexdigest() == f.sha256
