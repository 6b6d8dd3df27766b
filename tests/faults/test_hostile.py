"""Drops that mean harm, through the real service with its crew: each ends, none reaches out, the others are made."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from faults import promises
from faults.hostile import HOSTILE
from faults.scenarios import draw, shop_in
from keyturn.outbox import record_files
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from samples import picture

pytestmark = pytest.mark.slow

MADE = {"hard_link", "long_name", "odd_name", "name_not_text", "inner_folder_not_text", "zip_name_not_text"}
"""These do no harm once they are in: they may be made."""

MOST_OWN_KB = 300_000
"""Of the service's own process, in kB of 1000 bytes: what Python, NumPy and Pillow take, and nothing that grows with
a drop's bytes. The figure is the project's own."""


@dataclass(frozen=True)
class Aftermath:
    shop: Shop
    said: subprocess.CompletedProcess[str]
    touched: list[str]


def listing(folder: Path) -> dict[str, tuple[int, int, int]]:
    return {
        str(p.relative_to(folder)): (p.lstat().st_size, p.lstat().st_mtime_ns, p.lstat().st_nlink)
        for p in sorted(folder.rglob("*"))
    }


def canary_in(place: Path) -> Path:
    (place / "canary").mkdir(parents=True)
    picture((48, 64), 77).save(place / "canary" / "secret.png")
    (place / "canary" / "secret.toml").write_text('customer = "C"\nradio = "tiny"\n')
    draw(place / "canary" / "drop", 1)
    return place / "canary"


@pytest.fixture(scope="module")
def aftermath(desk: Path) -> Iterator[Aftermath]:
    """All of them at once, with good drops before and after in the order of names."""
    canary, shop = canary_in(desk / "around"), shop_in(desk / "around" / "shop")
    for name, make in HOSTILE.items():
        make(shop.inbox / f"hostile-{name}", canary)
    for number, name in enumerate(("a-good", "z-good", "changing", "vanishing", "shrinking")):
        draw(shop.inbox / name, 20 + 4 * number)
    before = listing(canary)
    said = run(shop)
    around = {str(p.relative_to(desk / "around")) for p in (desk / "around").iterdir()}
    after = listing(canary)
    touched = sorted({n for n in before | after if before.get(n) != after.get(n)} | (around - {"canary", "shop"}))
    yield Aftermath(shop, said, touched)


def run(shop: Shop) -> subprocess.CompletedProcess[str]:
    program = Path(__file__).with_name("with_crew.py")
    command = [sys.executable, str(program), str(shop.root)]
    return subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=240)


def test_the_service_lives_through_all_of_them(aftermath: Aftermath) -> None:
    assert aftermath.said.returncode == 0, aftermath.said.stderr[-3000:]
    assert [p.name for p in aftermath.shop.inbox.iterdir()] == []
    assert [p.name for p in aftermath.shop.work.iterdir()] == []


@pytest.mark.parametrize("name", list(HOSTILE))
def test_each_ends_in_rejects_with_reasons_or_does_no_harm_and_is_made(aftermath: Aftermath, name: str) -> None:
    shop = aftermath.shop
    made = [r for p in promises.revisions(shop) if (r := record_files.read_job(p))]
    mine = [r for r in made if r.job.startswith(f"hostile-{name}") or (name == "odd_name" and "script" in r.job)]
    refused = [
        rejection
        for p in shop.rejects.iterdir()
        if p.name.startswith((f"hostile-{name}", "a\nb") if name == "odd_name" else f"hostile-{name}")
        and (rejection := record_files.read_rejection(p))
        and (p / "REJECTED.html").is_file()
    ]
    assert mine or refused, sorted(p.name for p in shop.rejects.iterdir())
    if name not in MADE:
        assert refused, "it was made"
        codes = {reason.code for rejection in refused for reason in rejection.reasons}
        assert codes and "keyturn-bug" not in codes, refused


def test_nothing_outside_the_shop_is_touched(aftermath: Aftermath) -> None:
    links = [n for n in aftermath.touched if not n.endswith("secret.png")]  # its hard link lies in the archive now
    assert links == []


def test_good_drops_among_them_are_made(aftermath: Aftermath) -> None:
    made = [p.name for p in promises.revisions(aftermath.shop)]
    assert {"a-good-r1", "z-good-r1", "changing-r1"} <= set(made)


def test_a_good_drop_afterwards_is_made(aftermath: Aftermath) -> None:
    draw(aftermath.shop.inbox / "later", 60)
    assert run(aftermath.shop).returncode == 0
    assert "later-r1" in [p.name for p in promises.revisions(aftermath.shop)]


def test_the_services_own_memory_does_not_grow_with_them(aftermath: Aftermath) -> None:
    used = json.loads(aftermath.said.stdout.splitlines()[-1])
    print(f"peaks: {used}")
    assert used["own_kib"] * 1.024 < MOST_OWN_KB


def test_no_worker_takes_more_than_its_limit(aftermath: Aftermath) -> None:
    """RLIMIT_AS (setrlimit(2)) bounds a worker's addresses, and so what of them is resident."""
    used = json.loads(aftermath.said.stdout.splitlines()[-1])
    assert used["workers"] > 1, "none was seen"
    assert used["largest_kib"] < rulebook.load().intake.workers.memory_mib * 1024


def test_no_worker_is_left(aftermath: Aftermath) -> None:
    root = os.fsencode(aftermath.shop.root)
    left = [p for p in Path("/proc").glob("[0-9]*/cmdline") if root in _read(p)]
    assert left == []


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""
