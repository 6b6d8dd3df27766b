"""The zip's digest is that of its bytes, and a failing disk is heard of."""

from __future__ import annotations

import errno
import hashlib
import os
import threading
from pathlib import Path

import pytest

from keyturn.package.digested_zip import DigestedZip
from keyturn.shop import durable_files


def test_the_digest_is_that_of_the_finished_file(tmp_path: Path) -> None:
    data = os.urandom(3_000_001)
    with DigestedZip(tmp_path / "a.zip") as zipped:
        zipped.path.write_bytes(data)
        zipped.finish()
    zipped.path.rename(tmp_path / "moved.zip")
    assert zipped.sha256() == hashlib.sha256(data).hexdigest()


def test_other_work_goes_on_meanwhile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    go_on = threading.Event()
    monkeypatch.setattr(durable_files, "sha256", lambda path: str(go_on.wait(60)))
    with DigestedZip(tmp_path / "a.zip") as zipped:
        zipped.finish()
        go_on.set()
        assert zipped.sha256() == "True"


def test_a_zip_that_cannot_be_read_has_no_digest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(path: Path) -> str:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(durable_files, "sha256", failing)
    with DigestedZip(tmp_path / "a.zip") as zipped:
        zipped.finish()
    with pytest.raises(OSError, match="Input/output error"):
        zipped.sha256()


def test_what_is_given_up_before_the_zip_starts_no_thread(tmp_path: Path) -> None:
    before = threading.active_count()
    with pytest.raises(ValueError, match="refused"), DigestedZip(tmp_path / "a.zip"):
        raise ValueError("refused")
    assert threading.active_count() == before


def test_nothing_reads_the_zip_after_the_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its folder is removed then, also where the work was broken off."""
    begun, over = threading.Event(), threading.Event()

    def slowly(path: Path) -> str:
        begun.set()
        go_on.wait(60)
        over.set()
        return ""

    go_on = threading.Event()
    monkeypatch.setattr(durable_files, "sha256", slowly)
    with pytest.raises(ValueError, match="stopped"), DigestedZip(tmp_path / "a.zip") as zipped:
        zipped.finish()
        begun.wait(60)
        threading.Timer(0.05, go_on.set).start()
        raise ValueError("stopped")
    assert over.is_set()
