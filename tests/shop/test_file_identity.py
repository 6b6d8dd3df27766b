"""How a file is told from a later one of the same name; checked against what GNU stat prints."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from keyturn.shop.file_identity import FileIdentity, identity


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "0001.png"
    path.write_bytes(b"lamp")
    return path


@pytest.mark.system
@pytest.mark.skipif(not shutil.which("stat"), reason="needs coreutils")
def test_the_figures_are_those_of_gnu_stat(file: Path) -> None:
    os.utime(file, ns=(0, 1_700_000_000_123_456_789))
    # GNU coreutils, stat: %s size, %.9Y time of last modification, %i inode, %d device number in decimal
    said = subprocess.run(["stat", "-c", "%s %.9Y %i %d", file], capture_output=True, text=True, check=True)
    size, time, inode, device = said.stdout.split()
    assert identity(file) == FileIdentity(int(size), int(time.replace(".", "")), int(inode), int(device))


def test_a_file_left_alone_keeps_its_identity_under_any_name(file: Path) -> None:
    before = identity(file)
    assert identity(str(file)) == before
    assert identity(file.rename(file.with_name("0002.png"))) == before  # rename(2) changes the name alone


@pytest.mark.parametrize("change", ["longer", "written later", "replaced"])
def test_a_changed_file_has_another_identity(file: Path, change: str) -> None:
    before, seen = identity(file), file.stat()
    if change == "longer":
        file.write_bytes(b"lamps")
        os.utime(file, ns=(seen.st_atime_ns, seen.st_mtime_ns))
    elif change == "written later":
        os.utime(file, ns=(seen.st_atime_ns, seen.st_mtime_ns + 1_000_000_000))
    else:
        shutil.copy2(file, file.with_name("other"))
        file.with_name("other").replace(file)
    assert identity(file) != before


def test_what_is_not_there_has_none(tmp_path: Path, file: Path) -> None:
    assert identity(tmp_path / "ghost") is None
    assert identity(file / "below-a-file") is None


def test_a_link_is_followed_unless_asked_otherwise(tmp_path: Path, file: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(file)
    assert identity(link) == identity(file)
    assert identity(link, follow_links=False) == FileIdentity.of(link.lstat())
    assert identity(link, follow_links=False) != identity(file)


def test_what_the_system_does_not_say_is_an_error(tmp_path: Path) -> None:
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    with pytest.raises(OSError, match="symbolic links"):  # path_resolution(7): ELOOP
        identity(loop)


def test_identities_are_frozen_and_can_be_keys(file: Path) -> None:
    found = identity(file)
    assert found is not None
    assert {found: "kept"}[FileIdentity.of(file.stat())] == "kept"
    with pytest.raises(AttributeError):
        found.size = 0  # type: ignore[misc]
