"""Zips of drops, built by the byte where the tests need it, and a place to unpack them."""

from __future__ import annotations

import shutil
import struct
import zipfile
import zlib
from pathlib import Path

import pytest

from keyturn.inbox.unpack import unpack
from keyturn.shop import rulebook
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.rulebook import Intake

INTAKE = rulebook.load().intake
MIB = 1 << 20


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(not shutil.which(program), reason=f"needs {program}")


def capped(**caps: float) -> Intake:
    return INTAKE.model_copy(update={"caps": INTAKE.caps.model_copy(update=caps)})


def entry(name: str, *, mode: int = 0o100644, method: int = zipfile.ZIP_STORED) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.create_system, info.external_attr, info.compress_type = 3, mode << 16, method
    return info


def zipped(path: Path, *files: tuple[str | zipfile.ZipInfo, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files:
            archive.writestr(entry(name) if isinstance(name, str) else name, data)
    return path


def raw_zip(*files: tuple[bytes, bytes, int, bytes]) -> bytes:
    """A stored zip with any name bytes, flags and extra fields, laid out by APPNOTE 4.3.7, 4.3.12 and 4.3.16."""
    body, directory = b"", b""
    for name, data, flags, extra in files:
        common = struct.pack(
            "<5H3I2H", 10, flags, 0, 0, 33, zlib.crc32(data), len(data), len(data), len(name), len(extra)
        )
        tail = struct.pack("<3H2I", 0, 0, 0, 0, len(body))
        directory += b"PK\1\2" + struct.pack("<H", 10) + common + tail + name + extra
        body += b"PK\3\4" + common + name + extra + data
    end = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, len(files), len(files), len(directory), len(body), 0)
    return body + directory + end


class ZipBench:
    """A folder with a zip in it and the place to unpack to; remembers what else is there."""

    def __init__(self, place: Path) -> None:
        self.zip, self.into = place / "van.zip", place / "in" / "unpacked"
        self.into.mkdir(parents=True)

    def unpack(self, intake: Intake = INTAKE) -> tuple[Reason, ...]:
        try:
            return unpack(self.zip, self.into, intake, name="van.zip")
        finally:
            above = {p for p in self.into.parent.parent.rglob("*") if self.into not in p.parents}
            assert above == {self.zip, self.into.parent, self.into}, "something was written outside"

    def refused(self, intake: Intake = INTAKE) -> list[Reason]:
        with pytest.raises(Refused) as caught:
            self.unpack(intake)
        return list(caught.value.reasons)

    def codes(self, intake: Intake = INTAKE) -> list[str]:
        return [r.code for r in self.refused(intake)]

    def files(self) -> dict[str, bytes]:
        return {str(p.relative_to(self.into)): p.read_bytes() for p in self.into.rglob("*") if not p.is_dir()}


DROP = {
    "job.toml": b'customer = "Fern Hollow"\n',
    "lamps/0001.png": bytes(9000),
    "lamps/0002.png": b"x",
    "inner.zip": b"PK",
}


def lay_out(folder: Path) -> Path:
    for name, data in DROP.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return folder
