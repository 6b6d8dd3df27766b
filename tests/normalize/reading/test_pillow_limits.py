"""Pillow within limits: whose fault an error is, and that the process is left as it was."""

from __future__ import annotations

import errno
import warnings
from pathlib import Path

import pytest
from PIL import Image

from keyturn.normalize.reading import stills
from normalize.reading.test_stills import INTAKE, png_bytes, refusal, saved


def test_faults_of_the_shops_disk_pass_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path / "a.png", "PNG")
    with pytest.raises(IsADirectoryError):
        stills.probe(tmp_path, INTAKE, name="a.png")
    for code in (errno.EIO, errno.ESTALE, errno.EMFILE):
        failing = OSError(code, "as the disk says")
        monkeypatch.setattr(Image, "open", lambda *_, error=failing, **__: (_ for _ in ()).throw(error))
        with pytest.raises(OSError, match="as the disk says") as caught:
            stills.load(path, INTAKE, name="a.png")
        assert caught.value is failing
    monkeypatch.setattr(Image, "open", lambda *_, **__: (_ for _ in ()).throw(MemoryError()))
    assert refusal(path) == "picture-too-large"


def test_process_wide_state_is_left_as_it_was(tmp_path: Path) -> None:
    before = Image.MAX_IMAGE_PIXELS, list(warnings.filters)
    path = saved(tmp_path / "a.png", "PNG")
    stills.load(path, INTAKE, name="a.png")
    path.write_bytes(path.read_bytes()[:100])
    refusal(path)
    assert (Image.MAX_IMAGE_PIXELS, list(warnings.filters)) == before


def test_a_header_that_promises_too_much_allocates_nothing(tmp_path: Path) -> None:
    path = tmp_path / "bomb.png"
    path.write_bytes(png_bytes((100_000, 100_000), 8, 2, [b""]))
    assert refusal(path) == "picture-too-large"
