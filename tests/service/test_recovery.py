"""After a kill the folders are put in order, and every drop in work comes back."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from keyturn.inbox.moving import MOVING
from keyturn.inbox.survey import snapshot
from keyturn.service import recovery
from keyturn.service.claims import LEAVING, Claim, leaving_name
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.file_names import safe_name
from keyturn.shop.folders import Shop

SOMEBODY = 54321


@pytest.fixture
def folders(shop: Shop) -> DropFolders:
    """The shop's folders, by a clock that goes on a minute each time it is read."""

    def minutes() -> Iterator[datetime]:
        at = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
        while True:
            yield (at := at + timedelta(minutes=1))

    clock = minutes()
    return DropFolders(shop, lambda: next(clock))


def claimed(folders: DropFolders, name: str) -> Claim:
    drop = folders.shop.inbox / name
    drop.mkdir()
    (drop / "job.toml").write_text('customer = "Fern Hollow Mobile Library"')
    return folders.claim(name, snapshot(drop))


def test_drops_in_work_come_back_in_the_order_in_which_they_were_claimed(folders: DropFolders) -> None:
    names = ["van", "ferry", "bus"]
    claims = [claimed(folders, name) for name in names]
    assert recovery.recover(folders) == tuple(claims)


def test_half_copies_and_half_written_files_are_removed_and_nothing_else(folders: DropFolders, shop: Shop) -> None:
    claim = claimed(folders, "van")
    (shop.archive / "c").mkdir()
    (shop.outbox / "c").mkdir()
    tops = (shop.inbox, shop.rejects, shop.archive, shop.archive / "c", shop.work, folders.drop_of(claim))
    copies = [top / f"{MOVING}0123456789ab" for top in tops]
    for copy in copies:
        copy.mkdir()
        (copy / "0001.png").write_bytes(b"half")
    (shop.rejects / "bad").mkdir()
    half = (shop.state, shop.outbox, shop.outbox / "c", shop.rejects / "bad")
    written = [top / ".keyturn-0123456789ab.tmp" for top in half]
    for path in written:
        path.write_bytes(b"half")
    others = [shop.state / "ledger.sqlite3", shop.outbox / "c" / "proof.html", shop.inbox / "ferry.zip"]
    others.append(shop.rejects / "bad" / "REJECTED.json")
    for path in others:
        path.write_bytes(b"whole")
    assert recovery.recover(folders) == (claim,)
    assert not any(path.exists() for path in copies + written)
    assert all(path.exists() for path in [*others, folders.drop_of(claim) / "job.toml"])


def test_a_revision_half_built_is_removed(folders: DropFolders, shop: Shop) -> None:
    claim = claimed(folders, "van")
    (folders.staging(claim) / "card.html").write_text("half")
    recovery.recover(folders)
    assert list(shop.building.iterdir()) == []


def held(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def test_where_revisions_are_built_lies_a_link_and_nothing_it_leads_to_is_removed(
    folders: DropFolders, shop: Shop
) -> None:
    """Whoever may write in the outbox can put a link there; the service has rights that he has not."""
    claim, other = claimed(folders, "van"), claimed(folders, "ferry")
    before = held(shop.work)
    shop.building.symlink_to(shop.work)
    assert recovery.recover(folders) == (claim, other)
    assert held(shop.work) == before
    folders.remove_staging(claim)
    assert held(shop.work) == before
    assert folders.staging(claim).is_dir(), "and the work goes on"
    assert held(shop.work) == before
    assert not shop.building.is_symlink()


def test_of_what_lies_where_revisions_are_built_only_revisions_are_removed(folders: DropFolders, shop: Shop) -> None:
    staged = folders.staging(claimed(folders, "van"))
    (shop.building / "somebodys").mkdir()
    (shop.building / staged.with_name(staged.name + "-2").name).symlink_to(shop.archive)
    recovery.recover(folders)
    assert [path.name for path in shop.building.iterdir()] == ["somebodys"]
    assert shop.archive.is_dir()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give files to another user")
def test_somebody_elses_folder_where_revisions_are_built_is_set_aside(folders: DropFolders, shop: Shop) -> None:
    claim = claimed(folders, "van")
    (shop.building / claim.id).mkdir(parents=True)
    for path in (shop.building, shop.building / claim.id):
        os.chown(path, SOMEBODY, SOMEBODY)
    recovery.recover(folders)
    assert folders.staging(claim).stat().st_uid == shop.building.stat().st_uid == 0
    (aside,) = [path for path in shop.outbox.iterdir() if path != shop.building]
    assert held(aside) == {claim.id}, "nobody's files are removed"


def test_through_links_nothing_half_written_is_removed(folders: DropFolders, shop: Shop, tmp_path: Path) -> None:
    names = [f"{MOVING}0123456789ab", ".keyturn-0123456789ab.tmp"]
    for name in names:
        (tmp_path / name).write_bytes(b"theirs")
    for folder in (shop.outbox, shop.inbox, shop.rejects, shop.archive):
        (folder / "link").symlink_to(tmp_path)
    recovery.recover(folders)
    assert all((tmp_path / name).exists() for name in names)


def test_a_name_that_is_only_like_keyturns_own_is_nobodys_to_remove(folders: DropFolders, shop: Shop) -> None:
    """The names of half copies and half-written files end in twelve hex digits."""
    alike = [shop.inbox / f"{MOVING}of-the-van", shop.outbox / ".keyturn-my-own-notes.tmp"]
    for path in alike:
        path.mkdir()
    recovery.recover(folders)
    assert all(path.is_dir() for path in alike)


def test_of_a_claim_from_another_mount_the_original_goes_once_its_copy_is_whole(
    folders: DropFolders, shop: Shop
) -> None:
    claim = claimed(folders, "van")
    hidden = shop.inbox / f"{LEAVING}{claim.id}"
    hidden.mkdir()
    assert recovery.recover(folders) == (claim,)
    assert list(shop.inbox.iterdir()) == []


def test_of_a_claim_from_another_mount_the_original_goes_where_its_drop_is_archived(
    folders: DropFolders, shop: Shop
) -> None:
    """The share went away before the original was removed, and came back when all was done."""
    claim = claimed(folders, "van")
    hidden = shop.inbox / f"{LEAVING}{claim.id}"
    (shop.archive / "fern-hollow").mkdir(parents=True)
    folders.drop_of(claim).rename(shop.archive / "fern-hollow" / f"van-r1--{claim.id}")
    (shop.work / claim.id / "claim.json").unlink()
    hidden.mkdir()
    assert recovery.recover(folders) == ()
    assert list(shop.inbox.iterdir()) == []


@pytest.mark.parametrize("name", ["cart.zip", "Ines' Van  No. 2", "a--b", "\udcff.zip", "long" * 60 + ".zip"])
def test_a_drop_whose_share_comes_back_after_its_claim_was_given_up_has_its_own_name_again(
    folders: DropFolders, shop: Shop, name: str
) -> None:
    """Its name is what tells a zip, and is the job's where job.toml names none."""
    (shop.inbox / leaving_name(f"20260301T093000-abc123-{safe_name(name, 40)}", name)).write_bytes(b"zip")
    assert recovery.recover(folders) == ()
    (back,) = shop.inbox.iterdir()
    assert back.name == name if len(name) < 200 else back.name.endswith("long.zip")


@pytest.mark.parametrize("record", [True, False], ids=["with its claim", "without"])
def test_a_claim_from_another_mount_whose_copy_is_not_there_goes_back_to_the_inbox(
    folders: DropFolders, shop: Shop, record: bool
) -> None:
    claim = claimed(folders, "van")
    folders.drop_of(claim).rename(shop.inbox / f"{LEAVING}{claim.id}")
    if not record:
        (shop.work / claim.id / "claim.json").unlink()
    assert recovery.recover(folders) == ()
    (back,) = shop.inbox.iterdir()
    assert back.name == "van"
    assert (back / "job.toml").is_file()
    assert list(shop.work.iterdir()) == []


def test_it_may_run_twice(folders: DropFolders) -> None:
    claim = claimed(folders, "van")
    assert recovery.recover(folders) == recovery.recover(folders) == (claim,)
    assert Path(folders.drop_of(claim) / "job.toml").is_file()


def test_it_shows_life_at_its_beginning_and_before_everything_that_may_take_long(
    folders: DropFolders, shop: Shop
) -> None:
    """A shop of an earlier Keyturn with three customers, in which two drops were in work and one was being taken from
    another mount."""
    for customer in ("a", "b", "c"):
        (shop.outbox / customer / "van-r1").mkdir(parents=True)
        (shop.outbox / customer / "van-r1" / "job.json").write_text("{}")
    for name in ("van", "bus"):
        claimed(folders, name)
    (shop.inbox / f"{LEAVING}20260301T093000-abc123-ferry").mkdir()
    signs: list[None] = []
    recovery.recover(folders, lambda: signs.append(None))
    assert len(signs) == 1 + 3 + 1 + 2
