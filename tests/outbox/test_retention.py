"""Archive and rejects are kept as long as the settings say; nothing else is ever removed."""

from __future__ import annotations

import os
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from keyturn.outbox import retention
from keyturn.shop.folders import Shop
from keyturn.shop.records import Rejection
from keyturn.shop.settings import KeepSettings
from samples import as_user, open_folder

NOW = datetime(2026, 3, 31, 12, 0, tzinfo=UTC)


def archived(shop: Shop, days_ago: float, name: str) -> Path:
    claimed = NOW - timedelta(days=days_ago)
    folder = shop.archive / "c" / f"{name}-r1--{claimed:%Y%m%dT%H%M%S}-abc123-{name}"
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text("x")
    return folder


def refused(shop: Shop, days_ago: float, name: str) -> Path:
    folder = shop.rejects / name
    folder.mkdir()
    at = (NOW - timedelta(days=days_ago)).isoformat(timespec="seconds")
    record = Rejection(keyturn="0", drop=name, claim="c", customer=None, rejected_at=at, reasons=())
    (folder / "REJECTED.json").write_text(record.model_dump_json())
    return folder


def test_by_default_everything_is_kept(shop: Shop) -> None:
    kept = [archived(shop, 9999, "van"), refused(shop, 9999, "van")]
    assert retention.prune(shop, KeepSettings(), NOW) == []
    assert all(path.exists() for path in kept)


def test_what_is_older_than_the_settings_allow_is_removed(shop: Shop) -> None:
    old, new = archived(shop, 31, "old"), archived(shop, 29, "new")
    bad_old, bad_new = refused(shop, 8, "bad-old"), refused(shop, 6, "bad-new")
    assert retention.prune(shop, KeepSettings(archive_days=30, rejects_days=7), NOW) == [old, bad_old]
    assert new.exists() and bad_new.exists()


def test_folders_without_our_record_and_other_folders_are_not_ours_to_remove(shop: Shop) -> None:
    strangers = [shop.rejects / "someone-elses", shop.archive / "c" / "notes", shop.archive / "c" / "x--undated"]
    for folder in strangers:
        folder.mkdir(parents=True)
    for folder in (shop.inbox, shop.work, shop.outbox):
        (folder / "van").mkdir()
    retention.prune(shop, KeepSettings(archive_days=0.001, rejects_days=0.001), NOW)
    assert all(folder.exists() for folder in strangers)
    assert all((folder / "van").exists() for folder in (shop.inbox, shop.work, shop.outbox))


REMOVING = ".keyturn-removing-0123456789ab"


def test_a_removal_that_was_cut_off_is_finished(shop: Shop) -> None:
    (shop.rejects / REMOVING).mkdir()
    (shop.archive / "c" / REMOVING).mkdir(parents=True)
    (shop.rejects / ".keyturn-removing-but-not-ours").mkdir()
    retention.prune(shop, KeepSettings(), NOW)
    assert [path.name for path in shop.rejects.iterdir()] == [".keyturn-removing-but-not-ours"]
    assert list((shop.archive / "c").iterdir()) == []


def test_links_are_not_followed_and_do_not_stand_in_the_way(shop: Shop, tmp_path: Path) -> None:
    """The shop's people may write in rejects: a link there leads wherever they like."""
    elsewhere = refused(shop, 99, "elsewhere").rename(tmp_path / "elsewhere")
    (elsewhere / REMOVING).mkdir()
    (shop.rejects / "a-link").symlink_to(elsewhere)
    (shop.rejects / REMOVING).symlink_to(elsewhere)
    (shop.archive / "link").symlink_to(elsewhere)
    old = refused(shop, 99, "old")
    assert retention.prune(shop, KeepSettings(rejects_days=7), NOW) == [old]
    assert (elsewhere / "REJECTED.json").exists() and (elsewhere / REMOVING).is_dir()


# -- by size ----------------------------------------------------------------------------------------


def fill(folder: Path, kib: int) -> Path:
    (folder / "art.bin").write_bytes(os.urandom(kib * 1024))  # random: some file systems store zeros in no blocks
    return folder


def gib_of(*folders: Path) -> float:
    """Return the size of the folders in GiB as du(1) counts it, plus 100 bytes."""
    said = subprocess.run(["du", "-s", "-c", "-B", "1", *folders], capture_output=True, text=True, check=True)
    return (int(said.stdout.splitlines()[-1].split()[0]) + 100) / 2**30


def revision(shop: Shop, days_ago: float, job: str, number: int, kib: int = 64) -> Path:
    folder = archived(shop, days_ago, job)
    return fill(folder.rename(folder.with_name(folder.name.replace("-r1--", f"-r{number}--"))), kib)


def test_beyond_its_size_the_oldest_rejects_go_first_and_only_until_it_fits(shop: Shop) -> None:
    oldest, older, newer = (fill(refused(shop, days, f"bad-{days}"), 64) for days in (30, 20, 10))
    keep = KeepSettings(rejects_gib=gib_of(older, newer))
    assert retention.prune(shop, keep, NOW) == [oldest]
    assert retention.prune(shop, keep, NOW) == []
    assert retention.prune(shop, KeepSettings(rejects_gib=gib_of(newer)), NOW) == [older]
    assert newer.exists()


def test_the_archive_gives_up_superseded_revisions_before_any_jobs_newest(shop: Shop) -> None:
    ferry = revision(shop, 90, "ferry", 1)
    first, second, tenth = (revision(shop, days, "van", number) for days, number in ((50, 1), (40, 2), (30, 10)))
    assert retention.prune(shop, KeepSettings(archive_gib=gib_of(ferry, second, tenth)), NOW) == [first]
    assert retention.prune(shop, KeepSettings(archive_gib=gib_of(tenth)), NOW) == [second, ferry]
    assert tenth.exists()


def test_what_came_today_is_never_removed_for_its_size(shop: Shop) -> None:
    fresh = [fill(refused(shop, 0.9, "bad"), 64), revision(shop, 0.9, "van", 1), revision(shop, 0.5, "van", 2)]
    assert retention.prune(shop, KeepSettings(archive_gib=1e-9, rejects_gib=1e-9), NOW) == []
    assert all(path.exists() for path in fresh)


def test_folders_that_are_not_ours_are_neither_counted_nor_removed(shop: Shop) -> None:
    (shop.rejects / "someone-elses").mkdir()
    stranger, old = fill(shop.rejects / "someone-elses", 512), fill(refused(shop, 30, "bad"), 64)
    for folder in (shop.inbox, shop.work, shop.outbox):
        (folder / "van").mkdir()
        fill(folder / "van", 64)
    keep = KeepSettings(archive_gib=gib_of(old), rejects_gib=gib_of(old))
    assert retention.prune(shop, keep, NOW) == []
    assert retention.prune(shop, KeepSettings(archive_gib=1e-9, rejects_gib=1e-9), NOW) == [old]
    assert stranger.exists()
    assert all((folder / "van" / "art.bin").exists() for folder in (shop.inbox, shop.work, shop.outbox))


def test_a_sparse_file_counts_as_what_it_takes_on_the_disk(shop: Shop) -> None:
    """stat(2): st_blocks counts the blocks that are allocated, so a hole takes none."""
    sparse, other = refused(shop, 30, "sparse"), fill(refused(shop, 20, "bad"), 64)
    with (sparse / "hole.bin").open("wb") as file:
        file.truncate(2**40)
    assert retention.prune(shop, KeepSettings(rejects_gib=gib_of(sparse, other)), NOW) == []


def test_a_sign_of_life_is_given_for_each_drop_that_is_measured(shop: Shop) -> None:
    for number in range(5):
        revision(shop, 10 + number, "van", number + 1, 4)
    heard: list[bool] = []
    retention.prune(shop, KeepSettings(archive_gib=1), NOW, lambda: heard.append(True))
    assert len(heard) == 5


def test_a_folder_with_the_longest_possible_name_is_removed(shop: Shop) -> None:
    long = refused(shop, 30, "x" * 255)
    assert retention.prune(shop, KeepSettings(rejects_days=7), NOW) == [long]
    assert list(shop.rejects.iterdir()) == []


# -- what cannot be removed -------------------------------------------------------------------------

needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user")
SERVICE = 54321


def close(drop: Path, mode: int) -> Path:
    """Give the drop a sub-folder of an artist's, without the right to write for others."""
    (drop / "lamps").mkdir()
    fill(drop / "lamps", 64)
    (drop / "lamps").chmod(mode)
    return drop


@needs_root
@pytest.mark.parametrize("mode", [0o755, 0o744, 0o700])
def test_one_folder_that_cannot_be_removed_does_not_keep_the_others(mode: int) -> None:
    """unlink(2): it takes the right to write in the folder, which the artist has and the service has not."""
    with open_folder() as place:
        shop = Shop(place / "shop")
        shop.create()
        close(archived(shop, 40, "closed"), mode)
        kept = close(refused(shop, 40, "a-closed"), mode)
        open_ones = [archived(shop, 50, "first"), archived(shop, 30, "last"), refused(shop, 30, "last")]
        for folder in (shop.root, *(p for p in shop.root.rglob("*") if p.is_dir() and p.name != "lamps")):
            os.chown(folder, SERVICE, SERVICE)
        with as_user(SERVICE):
            retention.prune(shop, KeepSettings(rejects_gib=1), NOW)  # what may not be looked into counts as nothing
            assert kept.exists()
            for _ in range(2):  # the second time the removal that was begun cannot be finished
                retention.prune(shop, KeepSettings(archive_days=7, rejects_days=7), NOW)
        assert not any(folder.exists() for folder in open_ones)
        assert not kept.exists(), "it is out of sight, its pictures are still there"
        assert len(list(shop.root.rglob("lamps/art.bin"))) == 2
