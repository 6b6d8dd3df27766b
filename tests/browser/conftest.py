"""Headless Chromium, which opens the pages from files and watches for errors and requests to the network."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import page_records

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def missing(what: str) -> None:
    """Skip the test, saying what is missing. Fail it where the variable CI says that all has to be tested."""
    if os.environ.get("CI"):
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="session")
def by_hand() -> ModuleType:
    """The module of hand-made records."""
    return page_records


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser for all tests."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed (pip install keyturn[test])")
    if not CHROMIUM.exists():
        missing(f"{CHROMIUM} is not installed (apt install chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@dataclass
class Opened:
    """An open page and its faults: console errors and warnings, exceptions, requests to the network."""

    page: Any
    faults: list[str] = field(default_factory=list)

    def watch(self) -> None:
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("request", self._request)

    def _console(self, said: Any) -> None:
        if said.type in ("error", "warning"):
            self.faults.append(said.text)

    def _request(self, request: Any) -> None:
        if not request.url.startswith(("file:", "data:")):
            self.faults.append(f"asked for {request.url}")


Open = Callable[..., Opened]


@pytest.fixture
def opened(chromium: Any, tmp_path: Path) -> Iterator[Open]:
    """A function that opens HTML in a window of its own: opened(html, width=390). A fault fails the test at its end."""
    contexts: list[Any] = []
    pages: list[Opened] = []

    def open_page(html: str, width: int = 1280, height: int = 900, **more: Any) -> Opened:
        path = tmp_path / f"page{len(pages)}.html"
        path.write_text(html, encoding="utf-8")
        context = chromium.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        made = Opened(context.new_page())
        made.watch()
        pages.append(made)
        made.page.goto(path.as_uri())
        return made

    yield open_page
    for context in contexts:
        context.close()
    assert [fault for page in pages for fault in page.faults] == []
