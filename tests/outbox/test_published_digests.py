"""The service keeps a digest of what it published where nobody else writes."""

from __future__ import annotations

import hashlib
from pathlib import Path

from keyturn.outbox import published_digests
from keyturn.shop.folders import Shop


def revision(shop: Shop, target: str, text: str = "{}") -> Path:
    folder = shop.outbox / target
    folder.mkdir(parents=True)
    (folder / "job.json").write_text(text)
    return folder


def test_what_is_recorded_is_the_sha_256_of_job_json(shop: Shop) -> None:
    published_digests.record(shop.published, "c/van-r1", revision(shop, "c/van-r1", "made"))
    assert published_digests.recorded(shop.published, "c/van-r1") == hashlib.sha256(b"made").hexdigest()
    assert published_digests.recorded(shop.published, "c/van-r2") is None


def test_a_link_is_no_record(shop: Shop, tmp_path: Path) -> None:
    folder = revision(shop, "c/van-r1")
    (folder / "job.json").rename(tmp_path / "job.json")
    (folder / "job.json").symlink_to(tmp_path / "job.json")
    assert published_digests.digest_of(folder) is None


def test_a_shop_of_an_earlier_keyturn_is_taken_over_once(shop: Shop) -> None:
    revision(shop, "c/van-r1")
    revision(shop, ".building/van-r9")
    (shop.state / "published.new").mkdir()
    published_digests.adopt_all(shop.published, shop.outbox)
    assert published_digests.recorded(shop.published, "c/van-r1") == hashlib.sha256(b"{}").hexdigest()
    assert [path.name for path in shop.published.iterdir()] == ["c"]
    revision(shop, "c/van-r2")
    published_digests.adopt_all(shop.published, shop.outbox)
    assert published_digests.recorded(shop.published, "c/van-r2") is None


def test_kept_stock_files_are_taken_over_too(shop: Shop) -> None:
    folder = shop.outbox / "c" / "restore-tiny"
    folder.mkdir(parents=True)
    (folder / "restore.json").write_text("kept")
    published_digests.adopt_all(shop.published, shop.outbox)
    assert published_digests.recorded(shop.published, "c/restore-tiny") == hashlib.sha256(b"kept").hexdigest()
    assert published_digests.digest_of(folder) == hashlib.sha256(b"kept").hexdigest()
