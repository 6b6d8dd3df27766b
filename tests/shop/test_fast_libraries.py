"""Libraries that may be missing, and what is set before they load."""

from __future__ import annotations

import importlib
import os
import zlib
from collections.abc import Iterator
from types import ModuleType

import pytest

from keyturn.shop.fast_libraries import DEFLATE, READ_MORE, library


@pytest.fixture(autouse=True)
def _asked_anew() -> Iterator[None]:
    """`library` remembers its answers; each test asks anew and leaves none of its own behind."""
    library.cache_clear()
    yield
    library.cache_clear()


def test_a_library_that_is_missing_is_none() -> None:
    assert library("keyturn_has_no_such_library") is None


@pytest.mark.parametrize("error", [ImportError("no module"), OSError("libvips.so.42: cannot open shared object file")])
def test_a_library_that_cannot_be_loaded_is_none(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    """A binding raises OSError where the system library under it is missing (cffi's dlopen)."""

    def failing(name: str) -> ModuleType:
        raise error

    monkeypatch.setattr(importlib, "import_module", failing)
    assert library(READ_MORE) is None


def test_a_library_is_loaded_once(monkeypatch: pytest.MonkeyPatch) -> None:
    loaded: list[str] = []
    real = importlib.import_module
    monkeypatch.setattr(importlib, "import_module", lambda name: (loaded.append(name), real(name))[1])
    assert library("json") is library("json")
    assert loaded == ["json"]


def test_libvips_is_kept_to_one_thread_and_keeps_no_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    """libvips reads VIPS_CONCURRENCY and VIPS_WARNING once, when it starts (its manual, "Using threads")."""
    kept: list[int] = []
    vips = ModuleType(READ_MORE)
    vips.cache_set_max = kept.append  # type: ignore[attr-defined]

    def loading(name: str) -> ModuleType:
        assert (os.environ["VIPS_CONCURRENCY"], os.environ["VIPS_WARNING"]) == ("1", "off")
        return vips

    monkeypatch.delenv("VIPS_CONCURRENCY", raising=False)
    monkeypatch.delenv("VIPS_WARNING", raising=False)
    monkeypatch.setattr(importlib, "import_module", loading)
    assert library(READ_MORE) is vips
    assert kept == [0]


def test_a_shops_own_number_of_threads_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VIPS_CONCURRENCY", "3")
    library(READ_MORE)
    assert os.environ["VIPS_CONCURRENCY"] == "3"


def test_the_faster_deflate_writes_what_zlib_reads() -> None:
    found = library(DEFLATE)
    if found is None:
        pytest.skip("zlib-ng is not installed")
    data = bytes(range(256)) * 100
    assert zlib.decompress(found.compress(data, 6)) == data  # RFC 1950
    assert found.crc32(data) == zlib.crc32(data)
