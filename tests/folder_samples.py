"""Drops of a few bytes for the tests of moves between the shop's folders."""

from __future__ import annotations

from pathlib import Path

from keyturn.inbox.survey import snapshot
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.folders import Shop
from keyturn.shop.records import JobRecord, Rejection


def lay(shop: Shop, name: str = "van") -> Path:
    folder = shop.inbox / name
    (folder / "lamps").mkdir(parents=True)
    (folder / "job.toml").write_text("customer = 'x'")
    (folder / "lamps" / "0001.png").write_bytes(b"one")
    return folder


def claim(way: DropFolders, name: str = "van") -> Claim:
    return way.claim(name, snapshot(way.shop.inbox / name))


def staged(way: DropFolders, of: Claim, place: Path | None = None) -> Path:
    """A built revision, in `place` where the claim has several."""
    place = place or way.staging(of)
    place.mkdir(exist_ok=True)
    record = JobRecord(
        keyturn="0", customer="C", job="van", artist=None, drop=of.name, claim=of.id, digest="d",
        made_at="2026-03-01T09:30:00+00:00", revision=1, radios=(),
    )  # fmt: skip
    (place / "usb").mkdir()
    (place / "usb" / "logo.png").write_bytes(b"logo")
    (place / "job.json").write_text(record.model_dump_json())
    return place


def rejection(of: Claim) -> Rejection:
    return Rejection(keyturn="0", drop=of.name, claim=of.id, customer=None, rejected_at="2026-03-01", reasons=())


def everywhere(shop: Shop) -> list[str]:
    """Return the top folders of the shop that hold the artist's picture, sorted, once for each copy."""
    return sorted(
        p.relative_to(shop.root).parts[0] for p in shop.root.rglob("*") if p.is_file() and p.read_bytes() == b"one"
    )
