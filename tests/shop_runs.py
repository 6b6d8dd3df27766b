"""Running a service over a shop in a test, and what lies in the shop then."""

from __future__ import annotations

import shutil
from pathlib import Path

from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.workers.crew import InlineCrew


def service_of(shop: Shop) -> Service:
    """Return a service that makes frames in its own process."""
    return Service(shop, crew_of=lambda settings, rules: InlineCrew())


def run_until_quiet(shop: Shop) -> Service:
    """Run a service until every drop is made or refused, and return it."""
    service = service_of(shop)
    service.run(until_quiet=True)
    return service


def lay(root: Path, shop: Shop, name: str | None = None) -> None:
    """Copy the drop `root` to the inbox, as `name`."""
    shutil.copytree(root, shop.inbox / (name or root.name))


def revisions(shop: Shop) -> list[str]:
    """Return the paths of the revisions in the outbox, sorted."""
    return sorted(p.parent.relative_to(shop.outbox).as_posix() for p in shop.outbox.glob("[!.]*/*/job.json"))


def rejected(shop: Shop) -> list[str]:
    """Return the names of the folders in rejects, sorted."""
    return sorted(p.name for p in shop.rejects.iterdir())
