"""`keyturn copy`: which job goes onto which stick, and when it asks."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import shutil
import sys
from pathlib import Path

import pytest

from keyturn.commands import copy, make_by_hand, slip_entry
from keyturn.commands.stick_copy import StickFolder
from keyturn.outbox import published_digests, revision_life
from keyturn.pipeline import Bench
from keyturn.shop import mounts
from keyturn.shop.folders import Shop
from keyturn.shop.mounts import Mount
from keyturn.shop.wrong_use import WrongUse
from samples import Drop, Run

Said = pytest.CaptureFixture[str]


# -- which stick ------------------------------------------------------------------------------------


def mount(point: str) -> Mount:
    return Mount(Path(point), "vfat", "/dev/sdx1", "8:1", True)


def test_the_only_stick_needs_no_name() -> None:
    assert copy.choose_target(None, [mount("/media/a")]) == Path("/media/a")
    assert copy.choose_target(Path("/media/b"), [mount("/media/a")]) == Path("/media/b")


def test_without_a_stick_or_with_several_one_must_be_named() -> None:
    with pytest.raises(WrongUse, match="no stick"):
        copy.choose_target(None, [])
    with pytest.raises(WrongUse, match="/media/a, /media/b"):
        copy.choose_target(None, [mount("/media/a"), mount("/media/b")])


def test_another_users_stick_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """udisks mounts below /run/media/<user>, which other users may not look into."""
    usb = tmp_path / "devices" / "usb1" / "sda"
    usb.mkdir(parents=True)
    (tmp_path / "dev" / "block").mkdir(parents=True)
    (tmp_path / "dev" / "block" / "8:1").symlink_to(usb)
    info = tmp_path / "mountinfo"
    info.write_text("30 1 8:1 / /run/media/ines/STICK rw - vfat /dev/sda1 rw\n")
    real = Path.stat

    def stat(path: Path, **how: bool) -> os.stat_result:
        if str(path).startswith("/run/media/ines"):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real(path, **how)

    monkeypatch.setattr(Path, "stat", stat)
    assert mounts.is_removable(mounts.mounts(info)[0], tmp_path)
    assert mounts.sticks(info, tmp_path) == ()


# -- the command ----------------------------------------------------------------------------------


@pytest.fixture
def made(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """A job "van" in the shop's outbox: its stick folder."""
    folder = make_by_hand.make(drop(frames=3), shop.outbox, bench).folder
    assert folder is not None
    published_digests.record(shop.published, f"{folder.parent.name}/{folder.name}", folder)
    return folder / "usb"


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    place = tmp_path / "stick"
    place.mkdir()
    return place


def test_a_job_is_put_on_a_stick(run: Run, shop: Shop, made: Path, stick: Path, capsys: Said) -> None:
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 0
    assert "2 files" in capsys.readouterr().out
    for name in ("bootanimation.zip", "logo.png"):
        assert (stick / name).read_bytes() == (made / name).read_bytes()


def test_a_folder_for_the_stick_is_copied_without_a_shop(
    run: Run, source: StickFolder, stick: Path, capsys: Said
) -> None:
    assert run("copy", source.folder, stick, "--any-folder") == 0, capsys.readouterr().err
    assert (stick / "logo.png").is_file()


def test_a_jobs_name_without_a_shop_is_wrong_use_and_tells_of_no_outbox(
    run: Run, shop: Shop, made: Path, stick: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    (tmp_path / "no-shop").mkdir()
    for where in ((), ("--root", tmp_path / "no-shop")):
        assert run("copy", "van", stick, *where) == 2
        said = capsys.readouterr().err
        assert "shop" in said and "outbox holds" not in said
    monkeypatch.chdir(shop.inbox)
    assert run("copy", "van", stick, "--any-folder") == 0


def test_without_any_folder_a_folder_is_refused(run: Run, shop: Shop, made: Path, stick: Path, capsys: Said) -> None:
    assert run("copy", "van", stick, "--root", shop.root) == 2
    assert "--any-folder" in capsys.readouterr().err
    assert list(stick.iterdir()) == []


def test_other_files_are_replaced_only_with_leave(run: Run, shop: Shop, made: Path, stick: Path, capsys: Said) -> None:
    (stick / "logo.png").write_bytes(b"theirs")
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 2
    said = capsys.readouterr().err
    assert "logo.png" in said and "--replace" in said
    assert {p.name: p.read_bytes() for p in stick.iterdir()} == {"logo.png": b"theirs"}
    assert run("copy", "van", stick, "--any-folder", "--replace", "--root", shop.root) == 0
    assert (stick / "logo.png").read_bytes() == (made / "logo.png").read_bytes()


@pytest.mark.parametrize(("answer", "code"), [("y\n", 0), ("n\n", 1), ("", 130)])
def test_on_a_terminal_it_asks(
    run: Run, shop: Shop, made: Path, stick: Path, monkeypatch: pytest.MonkeyPatch, answer: str, code: int
) -> None:
    (stick / "logo.png").write_bytes(b"theirs")
    monkeypatch.setattr(type(copy.err), "is_terminal", property(lambda console: True))
    monkeypatch.setattr(sys, "stdin", io.StringIO(answer))
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == code
    assert ((stick / "logo.png").read_bytes() == b"theirs") is (code != 0)


def test_the_same_again_asks_nothing(run: Run, shop: Shop, made: Path, stick: Path) -> None:
    for _ in range(2):
        assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 0


def test_the_stick_that_is_plugged_in_needs_no_name(
    run: Run, shop: Shop, made: Path, stick: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    monkeypatch.setattr(mounts, "sticks", lambda: (Mount(stick, "vfat", "/dev/sdx1", "8:1", True),))
    assert run("copy", "van", "--any-folder", "--root", shop.root) == 0
    assert (stick / "logo.png").is_file()
    monkeypatch.setattr(mounts, "sticks", lambda: ())
    assert run("copy", "van", "--root", shop.root) == 2
    assert "no stick is plugged in" in capsys.readouterr().err


def test_an_unknown_job_and_an_unknown_radio_are_wrong_use(
    run: Run, shop: Shop, made: Path, stick: Path, capsys: Said
) -> None:
    assert run("copy", "ferry", stick, "--root", shop.root) == 2
    assert "fern-hollow-mobile-library/van-r1" in capsys.readouterr().err
    assert run("copy", "van", stick, "--radio", "wide", "--root", shop.root) == 2
    assert "tiny" in capsys.readouterr().err


# -- what the shop's people may have changed --------------------------------------------------------


def changed(made: Path, before: str, after: str) -> None:
    record = made.parent / "job.json"
    text = record.read_text(encoding="utf-8")
    assert before in text
    record.write_text(text.replace(before, after), encoding="utf-8")


def test_a_record_that_is_not_as_the_service_wrote_it_is_not_believed(
    run: Run, shop: Shop, made: Path, stick: Path, capsys: Said
) -> None:
    """Picture and record changed together: their digests fit."""
    picture = (made / "logo.png").read_bytes()
    (made / "logo.png").write_bytes(b"theirs")
    changed(made, hashlib.sha256(picture).hexdigest(), hashlib.sha256(b"theirs").hexdigest())
    changed(made, f'"size": {len(picture)}', '"size": 6')
    for job in ("van", made.parent):
        assert run("copy", job, stick, "--any-folder", "--root", shop.root) == 2
        assert "not as the service wrote it" in capsys.readouterr().err
    assert run("copy", made.parent, stick, "--any-folder") == 2, "the shop is found by the revision's place"
    assert list(stick.iterdir()) == []


def test_a_revision_that_the_service_did_not_publish_is_refused(
    run: Run, shop: Shop, made: Path, stick: Path, capsys: Said
) -> None:
    shutil.copytree(made.parent, made.parent.with_name("van-r2"))
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 2
    assert "van-r2 was not published" in capsys.readouterr().err
    assert run("copy", "van-r1", stick, "--any-folder", "--root", shop.root) == 0


@pytest.mark.parametrize("folder", ["..", "usb/..", "/etc", "usb/../../..", "gone"])
def test_a_folder_that_leads_elsewhere_is_refused(
    run: Run, outbox: Path, source: StickFolder, stick: Path, folder: str
) -> None:
    """Without a shop around it job.json is all there is."""
    changed(source.folder, '"folder": "usb"', f'"folder": "{folder}"')
    assert run("copy", source.folder.parent, stick, "--any-folder") == 2
    assert list(stick.iterdir()) == []


# -- what is noted of it ----------------------------------------------------------------------------


def test_each_copy_is_noted_beside_the_revision(run: Run, shop: Shop, made: Path, stick: Path) -> None:
    for _ in range(2):
        assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 0
    first, second = revision_life.read(made.parent).copied
    assert (first.radio, first.verified, first.stick) == ("tiny", True, f"the folder {stick}")
    assert first.by == slip_entry.login_name() and first.id != second.id


def test_a_copy_that_cannot_be_noted_is_a_good_copy(
    run: Run, shop: Shop, made: Path, stick: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    def full(*_: object) -> bool:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(revision_life, "enter", full)
    monkeypatch.setattr(slip_entry, "put_into", full)
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "The stick is good. That it was made could not be noted: No space left on device" in said
    assert (stick / "logo.png").is_file()
