"""Artists and fitters, who share the service's group and nothing more, may do what their work needs and no more.

What a member of the group may do is asked of the modes (inode(7)): the group's bits of each folder on the way, and of
the file. umask(2) of the service must not matter.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from keyturn.inbox.survey import snapshot
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.folders import Shop
from keyturn.shop.records import JobRecord
from samples import Drop
from shop_runs import lay, run_until_quiet

READ, WRITE, PASS = 4, 2, 1
BAD = 'customer = "Fern Hollow Mobile Library"\nradio = "nobody-knows"\n'


@pytest.fixture(params=[0o077, 0o002, 0o022], ids=oct)
def umask(request: pytest.FixtureRequest) -> Iterator[None]:
    before = os.umask(request.param)
    yield
    os.umask(before)


def group_may(path: Path, what: int) -> bool:
    return stat.S_IMODE(path.lstat().st_mode) >> 3 & what == what


def others_may(path: Path) -> bool:
    return bool(stat.S_IMODE(path.lstat().st_mode) & 0o007)


def reached(shop: Shop, path: Path) -> bool:
    """May the group pass every folder between the shop's and `path`?"""
    return all(group_may(above, PASS) for above in path.parents if above.is_relative_to(shop.root))


@pytest.mark.usefixtures("umask")
def test_what_is_published_is_the_groups_to_read_and_nobodys_to_change(shop: Shop, drop: Drop) -> None:
    lay(drop(), shop)
    run_until_quiet(shop)
    (customer,) = [path for path in shop.outbox.iterdir() if path.is_dir() and not path.name.startswith(".")]
    published = [customer, *customer.rglob("*"), shop.board]
    assert len(published) > 8
    for path in published:
        assert reached(shop, path) and group_may(path, READ) and not group_may(path, WRITE), path
        assert not others_may(path), path
    assert shop.outbox.stat().st_mode & stat.S_ISVTX, "nobody takes away what is the service's"


@pytest.mark.usefixtures("umask")
def test_in_the_archive_the_service_alone_adds_and_removes(shop: Shop, drop: Drop) -> None:
    """systemd/keyturn.tmpfiles says so of the folder around it."""
    lay(drop(), shop)
    run_until_quiet(shop)
    (customer,) = shop.archive.iterdir()
    for folder in (shop.archive, customer):
        assert group_may(folder, READ | PASS) and not group_may(folder, WRITE) and not others_may(folder)


@pytest.mark.usefixtures("umask")
def test_a_refused_drop_is_the_artists_to_mend(shop: Shop, drop: Drop) -> None:
    """The zip lies in a folder that the service made."""
    lay(drop("van", manifest=BAD), shop)
    (shop.inbox / "ferry.zip").write_bytes(b"no zip")
    (shop.inbox / "ferry.zip").chmod(0o660)
    run_until_quiet(shop)
    for name in ("van", "ferry"):
        folder = shop.rejects / name
        assert reached(shop, folder) and group_may(folder, READ | WRITE | PASS)
        assert all(group_may(page, READ) for page in folder.glob("REJECTED.*"))


@pytest.mark.usefixtures("umask")
def test_the_group_may_ask_for_the_status(shop: Shop, drop: Drop) -> None:
    lay(drop(), shop)
    run_until_quiet(shop)
    for path in (shop.lock, shop.state / "service.json"):
        assert reached(shop, path) and group_may(path, READ) and not group_may(path, WRITE)
    written = [path for path in shop.state.rglob("*") if group_may(path, WRITE)]
    assert not written, "state is where only the service writes"


@pytest.mark.usefixtures("umask")
def test_a_drop_that_crossed_to_another_mount_stays_the_artists_to_mend(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """rename(2), EXDEV: rejects is on another mount than work. A copy belongs to the service."""
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if self.is_relative_to(shop.work) and Path(target).is_relative_to(shop.rejects):
            raise OSError(errno.EXDEV, os.strerror(errno.EXDEV), str(self))
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    root = drop("van", manifest=BAD)
    for path in (root, *root.rglob("*")):
        path.chmod(0o2770 if path.is_dir() else 0o660)
    lay(root, shop)
    run_until_quiet(shop)
    refused = [shop.rejects / "van", *(shop.rejects / "van").rglob("*")]
    assert len(refused) > 8
    assert all(group_may(path, READ | WRITE) for path in refused)


# -- names that somebody has taken --------------------------------------------------------------------


@pytest.fixture
def folders(shop: Shop) -> DropFolders:
    return DropFolders(shop, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))


@pytest.fixture
def staged(folders: DropFolders, shop: Shop, drop: Drop) -> Callable[[], tuple[Claim, Path]]:
    def make() -> tuple[Claim, Path]:
        lay(drop(), shop)
        claim = folders.claim("van", snapshot(shop.inbox / "van"))
        place = folders.staging(claim)
        record = JobRecord(
            keyturn="0", customer="C", job="van", artist=None, drop="van", claim=claim.id, digest="d",
            made_at="2026-03-01T09:30:00+00:00", revision=1, radios=(),
        )  # fmt: skip
        (place / "job.json").write_text(record.model_dump_json())
        return claim, place

    return make


@pytest.mark.parametrize("base", ["outbox", "archive"])
def test_nothing_is_published_through_a_link_in_a_customers_place(
    folders: DropFolders, shop: Shop, staged: Callable[[], tuple[Claim, Path]], tmp_path: Path, base: str
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (shop.root / base / "c").symlink_to(elsewhere)
    claim, place = staged()
    with pytest.raises(FileExistsError):
        folders.publish(claim, place, "c/van-r1")
    assert list(elsewhere.iterdir()) == []
    assert folders.drop_of(claim).is_dir(), "nothing is lost"


def test_a_customers_folder_that_an_earlier_keyturn_left_open_is_closed(
    folders: DropFolders, shop: Shop, staged: Callable[[], tuple[Claim, Path]]
) -> None:
    for base in (shop.outbox, shop.archive):
        (base / "c").mkdir()
        (base / "c").chmod(0o2775)
    folders.publish(*staged(), "c/van-r1")
    for base in (shop.outbox, shop.archive):
        assert not group_may(base / "c", WRITE)
