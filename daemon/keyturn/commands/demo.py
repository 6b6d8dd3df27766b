"""`keyturn demo`: the sample inbox through the real service, then where to look."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from keyturn.manifest.models import FILE_NAME
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.shop.records import Ready, RefusedDrop, Working

SAMPLES = Path(__file__).parents[1] / "sample_inbox"

_SETTINGS = """\
# The demo does not wait long: its drops are whole from the start.
scan_seconds = 1

[settle]
seconds = 1
"""


@dataclass(frozen=True, slots=True)
class Shown:
    shop: Shop
    ready: tuple[Ready, ...]
    refused: tuple[RefusedDrop, ...]


def run(keep: Path | None, told: Callable[[Working | None], None], stopper: Callable[[Service], None]) -> Shown:
    """Sets up a shop, drops the samples and runs its service until all are made or refused."""
    shop = Shop(keep.resolve() if keep else Path(tempfile.mkdtemp(prefix="keyturn-demo-")))
    shop.create()
    (shop.root / "keyturn.toml").write_text(_SETTINGS, encoding="utf-8")
    for sample in sorted(p.parent for p in SAMPLES.glob(f"*/{FILE_NAME}")):
        shutil.copytree(sample, shop.inbox / sample.name, dirs_exist_ok=True)
    service = Service(shop, told=told)
    stopper(service)
    service.run(until_quiet=True)
    state = service.state()
    return Shown(shop, state.ready, state.refused)
