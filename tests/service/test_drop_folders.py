"""Moving a drop through the folders: each step is one rename, and a kill at any step loses nothing."""

from __future__ import annotations

import errno
import json
import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from folder_samples import claim, everywhere, lay, rejection, staged
from keyturn.inbox.moving import Changed
from keyturn.inbox.survey import snapshot
from keyturn.service import recovery
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from samples import EXAMPLES_SHARE


def test_claiming_moves_the_whole_drop_out_of_the_inbox(way: DropFolders, shop: Shop) -> None:
    lay(shop)
    taken = claim(way)
    assert not list(shop.inbox.iterdir())
    assert (way.drop_of(taken) / "lamps" / "0001.png").read_bytes() == b"one"


def test_a_drop_that_changed_since_it_settled_goes_back(way: DropFolders, shop: Shop) -> None:
    folder = lay(shop)
    before = snapshot(folder)
    (folder / "late.png").write_bytes(b"late")
    with pytest.raises(Changed):
        way.claim("van", before)
    assert (shop.inbox / "van" / "late.png").exists()
    assert not list(shop.work.iterdir())


@pytest.mark.parametrize("mounts", ["one mount", "inbox apart"])
def test_a_drop_that_somebody_began_to_write_to_goes_back(
    way: DropFolders, shop: Shop, mounts: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file open for writing is seen by the read lease that the system refuses (fcntl(2), F_SETLEASE)."""
    folder = lay(shop)
    _mounts(monkeypatch, shop, mounts)
    with (folder / "lamps" / "0001.png").open("ab") as file:
        with pytest.raises(Changed):
            claim(way)
        assert (shop.inbox / "van" / "lamps" / "0001.png").exists() and not list(shop.work.iterdir())
        file.write(b"more")
    assert claim(way).name == "van"


def test_a_drop_that_vanished_leaves_nothing_in_work(way: DropFolders, shop: Shop) -> None:
    with pytest.raises(Changed):
        way.claim("ghost", frozenset())
    assert not list(shop.work.iterdir())


def test_a_refused_drop_lies_in_rejects_as_it_came_with_its_reasons(way: DropFolders, shop: Shop) -> None:
    lay(shop)
    taken = claim(way)
    folder = way.reject(taken, rejection(taken), {"REJECTED.html": "<p>why", "REJECTED.txt": "why"})
    assert folder == shop.rejects / "van"
    assert {p.name for p in folder.iterdir()} == {"job.toml", "lamps", "REJECTED.html", "REJECTED.txt", "REJECTED.json"}
    assert json.loads((folder / "REJECTED.json").read_text())["claim"] == taken.id


def test_two_refused_drops_of_one_name_stand_side_by_side(way: DropFolders, shop: Shop) -> None:
    for _ in range(2):
        lay(shop)
        taken = claim(way)
        way.reject(taken, rejection(taken), {})
    assert sorted(p.name for p in shop.rejects.iterdir()) == ["van", "van-2"]


def test_a_zip_is_claimed_archived_and_rejected_as_the_file_it_came_as(way: DropFolders, shop: Shop) -> None:
    (shop.inbox / "van.zip").write_bytes(b"one")
    taken = claim(way, "van.zip")
    assert taken.form == "file"
    folder = way.reject(taken, rejection(taken), {})
    assert (folder / "van.zip").read_bytes() == b"one"
    assert folder.name == "van"


def test_a_returned_drop_stands_beside_a_newer_one_of_its_name(way: DropFolders, shop: Shop) -> None:
    lay(shop)
    taken = claim(way)
    lay(shop)
    assert way.send_back(taken).name == "van-2"
    assert not list(shop.work.iterdir())


class Cut(BaseException):
    """Raised where the power goes out. It is no Exception, so no handler of ours runs after it."""


def cut_after(monkeypatch: pytest.MonkeyPatch, count: int) -> Callable[[], int]:
    """Raise `Cut` before the `count`-th change of the folders. Return a function that returns the number of changes."""
    calls = 0

    def counted(real: Callable[..., object]) -> Callable[..., object]:
        def step(*args: object, **kwargs: object) -> object:
            nonlocal calls
            calls += 1
            if calls == count:
                raise Cut
            return real(*args, **kwargs)

        return step

    monkeypatch.setattr(Path, "rename", counted(Path.rename))
    monkeypatch.setattr(Path, "mkdir", counted(Path.mkdir))
    monkeypatch.setattr(Path, "rmdir", counted(Path.rmdir))
    monkeypatch.setattr(Path, "unlink", counted(Path.unlink))
    monkeypatch.setattr(os, "replace", counted(os.replace))
    monkeypatch.setattr(shutil, "rmtree", counted(shutil.rmtree))
    monkeypatch.setattr(durable_files, "copy_tree", counted(durable_files.copy_tree))
    return lambda: calls


def other_mounts(monkeypatch: pytest.MonkeyPatch, *bases: Path) -> None:
    """Make each of `bases` behave as a mount of its own: a rename in or out of it fails with EXDEV (rename(2))."""
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if [self.is_relative_to(base) for base in bases] != [Path(target).is_relative_to(base) for base in bases]:
            raise OSError(errno.EXDEV, "Invalid cross-device link", str(self))
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)


def whole_way(way: DropFolders, end: str) -> None:
    """Take the drop from where it is to `end`, as the service does: recovery first, then the inbox."""
    started = list(recovery.recover(way))
    if end != "return" or not (way.shop.root / "returned").exists():
        started += [claim(way, p.name) for p in sorted(way.shop.inbox.iterdir()) if not p.name.startswith(".")]
    for taken in started:
        if end == "fleet":
            publish_fleet(way, taken)
        elif end == "publish":
            number = 1 + len(list((way.shop.outbox / "c").glob("van-r*")))
            way.publish(taken, staged(way, taken), f"c/van-r{number}")
        elif end == "reject":
            way.reject(taken, rejection(taken), {"REJECTED.txt": "why"})
        else:
            (way.shop.root / "returned").touch()
            way.send_back(taken)


def publish_fleet(way: DropFolders, taken: Claim) -> None:
    """Publish what is missing of two rows; a third one is refused."""
    building = way.staging(taken)
    done = {target.partition("-r")[0] for target in way.published(taken)}
    built = {}
    for customer in ("a", "b"):
        if f"{customer}/van" not in done:
            number = 1 + len(list((way.shop.outbox / customer).glob("van-r*")))
            built[f"{customer}/van-r{number}"] = staged(way, taken, building / f"of-{customer}")
    pages = {"REJECTED.txt": "why"}
    rest = way.lay_rest(taken, way.drop_of(taken), {"job.toml": b"less"}, rejection(taken), pages)
    way.publish_fleet(taken, built, rest)


ENDS = {"publish": "archive", "reject": "rejects", "return": "inbox"}


@pytest.mark.parametrize("mounts", ["one mount", "inbox apart", "outbox, archive and rejects apart"])
@pytest.mark.parametrize("end", list(ENDS))
def test_cut_off_at_any_step_a_drop_is_whole_in_one_place_and_published_once(shop: Shop, end: str, mounts: str) -> None:
    """The power goes out before each step in turn, and once more during recovery (the promises of DEVELOPERS.md)."""
    step = 0
    while True:
        step += 1
        again = Shop(shop.root.parent / f"{end}-{step}")
        again.create()
        way = DropFolders(again, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
        lay(again)
        with pytest.MonkeyPatch.context() as patch:
            _mounts(patch, again, mounts)
            cut = _cut_off(patch, way, end, step)
            assert everywhere(again), f"lost after step {step}"
            _cut_off(patch, way, end, 2)
            whole_way(way, end)
        assert everywhere(again) == [ENDS[end]], f"step {step}"
        assert not list(again.work.iterdir())
        revisions = list((again.outbox / "c").glob("*")) if (again.outbox / "c").exists() else []
        assert len(revisions) == (1 if end == "publish" else 0)
        assert all((r / "job.json").exists() and (r / "usb" / "logo.png").exists() for r in revisions)
        assert all((r / "REJECTED.json").exists() for r in again.rejects.iterdir())
        if not cut:
            break
    assert step > 6, "the cut must have met many steps"


@pytest.mark.parametrize("mounts", ["one mount", "inbox apart", "outbox, archive and rejects apart"])
def test_cut_off_at_any_step_no_row_of_a_fleet_is_lost_or_published_twice(shop: Shop, mounts: str) -> None:
    """As above, with two rows that are published and one that is refused. pytest alone tries each fifth step."""
    step = 1 - EXAMPLES_SHARE
    while True:
        step += EXAMPLES_SHARE
        again = Shop(shop.root.parent / f"fleet-{step}")
        again.create()
        way = DropFolders(again, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
        lay(again)
        with pytest.MonkeyPatch.context() as patch:
            _mounts(patch, again, mounts)
            cut = _cut_off(patch, way, "fleet", step)
            assert everywhere(again), f"lost after step {step}"
            _cut_off(patch, way, "fleet", 2 + step % 5)
            whole_way(way, "fleet")
        assert everywhere(again) == ["archive", "rejects"], f"step {step}"
        assert not list(again.work.iterdir()) and not list(again.building.iterdir())
        revisions = sorted(p.relative_to(again.outbox).as_posix() for p in again.outbox.glob("*/*"))
        assert revisions == ["a/van-r1", "b/van-r1"], f"step {step}"
        assert all((again.outbox / r / "usb" / "logo.png").exists() for r in revisions)
        assert all((again.numbers / r).exists() for r in revisions)
        (refused,) = again.rejects.iterdir()
        assert (refused / "job.toml").read_bytes() == b"less" and (refused / "REJECTED.json").exists()
        if not cut:
            break
    assert step > 20, "the cut must have met many steps"


def _mounts(patch: pytest.MonkeyPatch, shop: Shop, mounts: str) -> None:
    if mounts == "inbox apart":
        other_mounts(patch, shop.inbox)
        real = Path.lstat
        patch.setattr(
            Path, "lstat", lambda self: _other_device(real(self)) if self.parent == shop.inbox else real(self)
        )
    if mounts.startswith("outbox"):
        other_mounts(patch, shop.outbox, shop.archive, shop.rejects)


def _other_device(seen: os.stat_result) -> os.stat_result:
    return os.stat_result((*seen[:2], seen.st_dev + 1, *seen[3:]))


def _cut_off(patch: pytest.MonkeyPatch, way: DropFolders, end: str, step: int) -> bool:
    with pytest.MonkeyPatch.context() as inner:
        cut_after(inner, step)
        try:
            whole_way(way, end)
        except Cut:
            return True
    return False


def test_a_work_folder_without_a_readable_claim_keeps_its_files(way: DropFolders, shop: Shop) -> None:
    lay(shop)
    taken = claim(way)
    (shop.work / taken.id / "claim.json").write_text("{half")
    (found,) = recovery.recover(way)
    assert everywhere(shop) == ["work"]
    assert way.drop_of(found) == way.drop_of(taken)


def test_a_drop_with_the_longest_name_is_refused_as_often_as_it_comes(way: DropFolders, shop: Shop) -> None:
    for _ in range(3):
        lay(shop, "x" * 255)
        taken = claim(way, "x" * 255)
        way.reject(taken, rejection(taken), {})
    assert len(list(shop.rejects.iterdir())) == 3
