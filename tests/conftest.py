"""What the tests share: shops of their own, small radios that make them quick, and drops drawn on the spot."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from loguru import logger

from keyturn.commands import app, make, shop_search
from keyturn.inbox.waiting import Inbox
from keyturn.pipeline import Bench
from keyturn.shop import rulebook, settings
from keyturn.shop.folders import Shop
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import InlineCrew
from samples import Drop, Run, picture

pytest_plugins = ["stage_fixtures"]

TINY_RADIO = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
for before, after in (("width = 768", "width = 48"), ("height = 1024", "height = 64")):
    assert before in TINY_RADIO
    TINY_RADIO = TINY_RADIO.replace(before, after)

NO_SHOP = ("KEYTURN_AXE", "KEYTURN_MACHINE")
"""Variables that tell tests what they may use; all others of ours would lead to a shop."""


def pytest_xdist_auto_num_workers() -> int:
    """Return how many processes `-n auto` starts: two a core this process may use, for many tests wait."""
    return 2 * len(os.sched_getaffinity(0))


@pytest.fixture(autouse=True)
def no_shop_but_the_tests_own(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """A test that forgets to name its shop finds none: the current folder is an empty one, KEYTURN_ROOT is not set, and
    no unit of this machine counts."""
    for name in [n for n in os.environ if n.startswith("KEYTURN_") and n not in NO_SHOP]:
        monkeypatch.delenv(name)
    for name in ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"):
        monkeypatch.delenv(name, raising=False)
    logger.remove()  # a sink of an earlier test may write to a stream that is closed
    monkeypatch.setattr(shop_search, "UNIT_FOLDERS", ())
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
    monkeypatch.chdir(tmp_path_factory.mktemp("nowhere"))


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A shop with one more radio, "tiny", of 48 x 64 pixels, and no patience."""
    made = Shop(tmp_path / "shop")
    made.create()
    (made.rules / "radios").mkdir()
    (made.rules / "radios" / "tiny.toml").write_text(TINY_RADIO, encoding="utf-8")
    settings = "scan_seconds = 0.2\nworkers = 1\n[settle]\nseconds = 0.1\nwithout_manifest_seconds = 0.3\n"
    settings += "doubt_seconds = []\n"
    (made.root / "keyturn.toml").write_text(settings, encoding="utf-8")
    return made


@pytest.fixture
def rules(shop: Shop) -> Rulebook:
    return rulebook.load(shop.rules)


@pytest.fixture
def bench(rules: Rulebook) -> Bench:
    return Bench(rules, InlineCrew(), lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))


@pytest.fixture
def drop(tmp_path: Path) -> Drop:
    """drop(name, frames=6, manifest=..., size=...): a drop folder outside the shop."""

    def make(
        name: str = "van",
        *,
        frames: int = 6,
        manifest: str = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n',
        size: tuple[int, int] = (48, 64),
        folder: str = "lamps",
    ) -> Path:
        root = tmp_path / "drawn" / name
        (root / folder).mkdir(parents=True)
        for number in range(1, frames + 1):
            picture(size, number).save(root / folder / f"{number:04d}.png")
        (root / "job.toml").write_text(manifest, encoding="utf-8")
        return root

    return make


@pytest.fixture
def inbox(shop: Shop, rules: Rulebook) -> Inbox:
    """An inbox of a shop with the settings that ship, which has been looked at once."""
    (shop.root / "keyturn.toml").unlink()
    made = Inbox(shop, settings.load(shop.root), rules, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
    made.scan(0.0)
    return made


@pytest.fixture
def needs() -> Callable[[str], str]:
    """needs("unzip"): the program's path; without it the test is skipped, and in CI it fails."""

    def find(program: str) -> str:
        path = shutil.which(program)
        if path is None:
            message = f"{program} is not installed (from the operating system's packages)"
            if os.environ.get("CI"):
                pytest.fail(message)
            pytest.skip(message)
        return path

    return find


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """run("check", path): the exit code of `keyturn check path`, made without worker processes."""
    monkeypatch.setattr(make, "LocalCrew", lambda size, limits, preload: InlineCrew())

    def call(*args: object) -> int:
        monkeypatch.setattr(sys, "argv", ["keyturn", *map(str, args)])
        with pytest.raises(SystemExit) as left:
            app.main()
        assert isinstance(left.value.code, int)
        return left.value.code

    return call
