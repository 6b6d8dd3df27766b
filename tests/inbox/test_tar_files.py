"""Tar archives under the guards of a zip. They are made by GNU tar where it is there, and by the byte."""

from __future__ import annotations

import gzip
import io
import subprocess
import tarfile
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.inbox.tar_files import form_of
from keyturn.inbox.unpack import unpack
from keyturn.shop.reasons import Refused
from zip_samples import INTAKE, capped


def tarred(path: Path, *files: tuple[str | tarfile.TarInfo, bytes], packed: bool = False) -> Path:
    with tarfile.open(path, "w:gz" if packed else "w") as archive:
        for name, data in files:
            info = tarfile.TarInfo(name) if isinstance(name, str) else name
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))
    return path


def member(name: str, kind: bytes, target: str = "") -> tarfile.TarInfo:
    info = tarfile.TarInfo(name)
    info.type, info.linkname = kind, target
    return info


def out(path: Path, intake: object = INTAKE) -> tuple[dict[str, bytes], list[str]]:
    into = path.parent / "into"
    into.mkdir()
    reasons = unpack(path, into, intake, name=path.name)  # type: ignore[arg-type]
    files = {str(p.relative_to(into)): p.read_bytes() for p in into.rglob("*") if p.is_file()}
    return files, [reason.code for reason in reasons]


def refusals(path: Path, intake: object = INTAKE) -> list[str]:
    with pytest.raises(Refused) as caught:
        out(path, intake)
    assert all(reason.file for reason in caught.value.reasons)
    return [reason.code for reason in caught.value.reasons]


@pytest.mark.system
@pytest.mark.parametrize("way", [["-cf"], ["-czf"], ["--format=pax", "-czf"], ["--format=v7", "-cf"]])
def test_what_gnu_tar_packs_comes_out(tmp_path: Path, needs: Callable[[str], str], way: list[str]) -> None:
    drop = tmp_path / "van"
    (drop / "lamps").mkdir(parents=True)
    (drop / "lamps" / ("long " * 15 + "ü.png")).write_bytes(b"p")
    (drop / "job.toml").write_bytes(b"j")
    (drop / ".DS_Store").write_bytes(b"x")
    subprocess.run([needs("tar"), *way, tmp_path / "van.tar", "-C", tmp_path, "van"], check=True)
    assert form_of(tmp_path / "van.tar") == "tar"
    files = {"job.toml": b"j", f"lamps/{'long ' * 15}ü.png": b"p"}
    assert out(tmp_path / "van.tar") == (files, ["junk-skipped"])


@pytest.mark.parametrize("name", ["/etc/lamp", "../lamp", "a/../../lamp", "C:/lamp", "..\\lamp"])
def test_a_name_that_points_outside_is_refused(tmp_path: Path, name: str) -> None:
    assert refusals(tarred(tmp_path / "a.tar", ("job.toml", b"x"), (name, b"x"))) == ["zip-outside"]


@pytest.mark.parametrize(
    "kind",
    [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.FIFOTYPE, tarfile.CHRTYPE, tarfile.BLKTYPE, tarfile.GNUTYPE_SPARSE],
)
def test_links_devices_and_the_like_are_refused(tmp_path: Path, kind: bytes) -> None:
    path = tarred(tmp_path / "a.tar", ("job.toml", b"x"), (member("1.png", kind, "/etc/passwd"), b""))
    assert refusals(path) == ["not-a-file"]


def test_what_unpacks_to_too_much_is_refused_before_it_fills_the_disk(tmp_path: Path) -> None:
    swollen = tarred(tmp_path / "a.tgz", ("1.png", bytes(30 << 20)), packed=True)
    assert refusals(swollen, capped(zip_ratio=20)) == ["zip-bomb"]
    assert sum(p.stat().st_size for p in (tmp_path / "into").rglob("*")) < 5 << 20
    (tmp_path / "b").mkdir()
    assert refusals(tarred(tmp_path / "b" / "b.tar", ("1.png", bytes(2 << 20))), capped(file_mib=1)) == [
        "file-too-large"
    ]


def test_too_many_members_and_none_are_refused(tmp_path: Path) -> None:
    many = tarred(tmp_path / "a.tar", *((f"{n}.png", b"") for n in range(50)))
    assert refusals(many, capped(files=10)) == ["too-many-files"]
    (tmp_path / "b").mkdir()
    assert refusals(tarred(tmp_path / "b" / "b.tar", (member("lamps", tarfile.DIRTYPE), b""))) == ["zip-empty"]


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("keep", [0.3, 0.5, 0.9])
def test_an_archive_that_breaks_off_is_refused_also_between_two_members(
    tmp_path: Path, keep: float, packed: bool
) -> None:
    """`tarfile` alone takes what breaks off at a header as whole: frames would be missing without a word."""
    path = tarred(tmp_path / "a.tar", *((f"{n}.png", bytes([n]) * 512) for n in range(1, 9)))
    data = path.read_bytes()[: 16 * 512]
    data = data[: int(len(data) * keep / 1024) * 1024] if not packed else gzip.compress(data)[: int(90 * keep)]
    path.write_bytes(data)
    assert refusals(path) in (["tar-broken"], ["zip-broken"])


def test_a_packed_tar_whose_check_sum_is_wrong_is_refused(tmp_path: Path) -> None:
    """RFC 1952, 2.3.1: the CRC-32 and the length of the unpacked data end the file."""
    path = tarred(tmp_path / "a.tgz", ("1.png", b"p" * 900), packed=True)
    data = bytearray(path.read_bytes())
    data[-8] ^= 1
    path.write_bytes(data)
    assert refusals(path) == ["tar-broken"]


def test_a_note_of_absurd_length_is_not_read_into_memory(tmp_path: Path) -> None:
    info = member("1.png", tarfile.XHDTYPE)
    assert refusals(tarred(tmp_path / "a.tar", (info, bytes(3 << 20)), ("1.png", b"x"))) == ["tar-broken"]


def test_a_tar_that_breaks_off_at_its_start_is_called_a_tar(tmp_path: Path) -> None:
    (tmp_path / "a.tar.gz").write_bytes(b"\x1f\x8b\x08" + bytes(20))
    assert refusals(tmp_path / "a.tar.gz") == ["tar-broken"]


def test_other_files_are_no_archives(tmp_path: Path) -> None:
    for data in (b"", b"over the wide hill", b"\x1f\x8b and so on", gzip.compress(b"hill" * 200), bytes(512)):
        (tmp_path / "a").write_bytes(data)
        assert form_of(tmp_path / "a") == ""
