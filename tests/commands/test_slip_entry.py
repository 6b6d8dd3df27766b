"""A slip is written beside the revision by whoever may, and goes through the inbox otherwise."""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path

import pytest

from keyturn.commands import slip_entry
from keyturn.commands.stick_copy import StickFolder
from keyturn.outbox import revision_life
from keyturn.shop import slips
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from samples import as_user, open_folder


def test_a_slip_names_the_revision_and_exactly_what_it_holds(source: StickFolder) -> None:
    revision = source.folder.parent
    slip = slip_entry.slip_for("shown", revision, source.job, by="Marta")
    assert (slip.path, slip.revision) == ("fern-hollow-mobile-library/van-r2", 2)
    assert slip.digest == hashlib.sha256((revision / "job.json").read_bytes()).hexdigest()
    assert slip.by == "Marta" and slip.id != slip_entry.slip_for("shown", revision, source.job).id


def test_a_revision_without_its_record_is_told(source: StickFolder, tmp_path: Path) -> None:
    with pytest.raises(ShopFault, match=r"no readable job\.json"):
        slip_entry.slip_for("shown", tmp_path, source.job)


def test_whoever_may_write_beside_the_revision_does(source: StickFolder, shop: Shop) -> None:
    slip = slip_entry.slip_for("shown", source.folder.parent, source.job)
    assert slip_entry.enter(shop, source.folder.parent, slip) == slip_entry.WRITTEN
    assert revision_life.read(source.folder.parent).shown == (slip,)
    assert not list(shop.inbox.iterdir())


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user")
def test_anybody_else_puts_it_into_the_inbox_where_the_group_reads_it(source: StickFolder) -> None:
    with open_folder() as root:
        shop = Shop(root)
        shop.create()
        root.chmod(0o755)
        shop.inbox.chmod(0o777)
        shop.outbox.chmod(0o755)
        revision = shop.outbox / "fern" / "van-r2"
        shutil.copytree(source.folder.parent, revision)
        slip = slip_entry.slip_for("fitted", revision, source.job, by="Tobias", boot_s=18.2)
        with as_user(65534):
            assert slip_entry.enter(shop, revision, slip) == slip_entry.HANDED_IN
        (file,) = shop.inbox.iterdir()
        assert slips.found_in(file.read_bytes()) == slip
        assert file.stat().st_mode & 0o777 == 0o640 and file.name.startswith("fitted-van-r2-")
        shop.inbox.chmod(0o755)
        with as_user(65534), pytest.raises(PermissionError):
            slip_entry.enter(shop, revision, slip)
        with as_user(65534), pytest.raises(PermissionError):
            slip_entry.enter(None, revision, slip)


def test_slips_that_wait_in_the_inbox_count_as_entered(source: StickFolder, shop: Shop) -> None:
    revision = source.folder.parent
    first, second, other = (slip_entry.slip_for("copied", revision, source.job, vehicle=van) for van in "123")
    copied = [first, second]
    revision_life.enter(revision, first)
    slip_entry.put_into(shop.inbox, first)  # entered, and its file not yet gone
    slip_entry.put_into(shop.inbox, second)
    slip_entry.put_into(shop.inbox, slip_entry.slip_for("fitted", revision, source.job))
    slip_entry.put_into(shop.inbox, other.model_copy(update={"digest": "ab" * 32}))
    (shop.inbox / "copied-spoilt.txt").write_text("[keyturn-slip:AAAA")
    assert slip_entry.entered(shop, revision, "copied") == tuple(copied)
    assert slip_entry.entered(None, revision, "copied") == (first,)


def test_under_sudo_the_name_is_that_of_whoever_called_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """sudo(8): SUDO_USER is the login name of the user who invoked sudo."""
    monkeypatch.setenv("SUDO_USER", "tobias")
    assert (slip_entry.login_name() == "tobias") == (os.geteuid() == 0)
