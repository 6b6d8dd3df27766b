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

from keyturn.commands import copy, make_by_hand
from keyturn.commands.stick_copy import StickFolder
from keyturn.outbox import published_digests
from keyturn.pipeline import Bench
from keyturn.shop import mounts
from keyturn.shop.folders import Shop
from keyturn.shop.mounts import Mount
from keyturn.shop.reasons import ShopFault
from keyturn.shop.wrong_use import WrongUse
from samples import Drop, Run

Said = pytest.CaptureFixture[str]
TWO_RADIOS = 'customer = "Fern Hollow Mobile Library"\nradio = ["tiny", "compact-800x480"]\n'


# -- which job --------------------------------------------------------------------------------------


def test_a_jobs_name_is_its_newest_revision(outbox: Path) -> None:
    assert copy.find(outbox, "van", None).folder.parent.name == "van-r2"


def test_the_newest_is_newest_by_number_not_by_letters(outbox: Path, source: StickFolder) -> None:
    customer = source.folder.parents[1]
    for number in (9, 10):
        shutil.copytree(customer / "van-r1", customer / f"van-r{number}")
    assert copy.find(outbox, "van", None).folder.parent.name == "van-r10"


@pytest.mark.parametrize(
    ("name", "revision"),
    [
        ("van-r1", "van-r1"),
        ("fern-hollow-mobile-library/van-r1", "van-r1"),
        ("fern-hollow-mobile-library/van", "van-r2"),
    ],
)
def test_a_revision_can_be_named_in_several_ways(outbox: Path, name: str, revision: str) -> None:
    found = copy.find(outbox, name, None)
    assert found.folder == (outbox / "fern-hollow-mobile-library" / revision / "usb").resolve()


def test_a_revision_or_its_folder_for_the_stick_can_be_named_by_its_path(
    source: StickFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for folder in (source.folder.parent, source.folder, source.folder.relative_to(tmp_path)):
        monkeypatch.chdir(tmp_path)
        assert copy.find_direct(str(folder), None) == source
    assert copy.find_direct("van", None) is None
    (source.folder.parent / "notes").mkdir()
    with pytest.raises(WrongUse, match=r"no folder for a stick.* usb"):
        copy.find_direct(str(source.folder.parent / "notes"), None)


def test_the_folder_for_one_radio_names_the_radio(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    made = make_by_hand.make(drop(manifest=TWO_RADIOS, size=(800, 480), frames=1), tmp_path / "two", bench).folder
    assert made is not None
    found = copy.find_direct(str(made / "usb-tiny"), None)
    assert found is not None and found.radio.radio == "tiny"
    with pytest.raises(WrongUse):
        copy.find_direct(str(made / "usb-tiny"), "compact-800x480")


def test_where_two_customers_have_a_job_of_that_name_both_are_named(drop: Drop, bench: Bench, outbox: Path) -> None:
    make_by_hand.make(
        drop("other/van", frames=3, manifest='customer = "Quarry Bakery"\nradio = "tiny"\n'), outbox, bench
    )
    for name in ("van", "van-r1"):
        with pytest.raises(WrongUse) as asked:
            copy.find(outbox, name, None)
        assert "quarry-bakery/van-r1" in asked.value.mend and "fern-hollow-mobile-library/van-r" in asked.value.mend
    assert copy.find(outbox, "quarry-bakery/van", None).job.customer == "Quarry Bakery"


def test_for_an_unknown_job_the_known_ones_are_named(outbox: Path, tmp_path: Path) -> None:
    with pytest.raises(WrongUse) as asked:
        copy.find(outbox, "ferry", None)
    assert "fern-hollow-mobile-library/van-r2" in asked.value.mend
    with pytest.raises(WrongUse) as asked:
        copy.find(tmp_path / "nothing", "ferry", None)
    assert "nothing holds no job yet" in asked.value.mend


def test_a_revision_being_built_is_no_revision(outbox: Path, source: StickFolder) -> None:
    """outbox/.building/<claim> holds a complete revision for a moment before it is published."""
    shutil.copytree(source.folder.parent, outbox / ".building" / "van-r3")
    assert copy.find(outbox, "van", None).folder.parent.name == "van-r2"


def test_a_damaged_record_is_named(outbox: Path, source: StickFolder) -> None:
    (source.folder.parent / "job.json").write_text("{")
    with pytest.raises(ShopFault, match=r"no readable job\.json"):
        copy.find(outbox, "van", None)


def test_with_several_radios_one_must_be_named(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    make_by_hand.make(drop(manifest=TWO_RADIOS, size=(800, 480), frames=1), tmp_path / "two", bench)
    with pytest.raises(WrongUse) as asked:
        copy.find(tmp_path / "two", "van", None)
    assert "tiny" in asked.value.mend and "compact-800x480" in asked.value.mend
    assert copy.find(tmp_path / "two", "van", "tiny").folder.name == "usb-tiny"
    with pytest.raises(WrongUse, match="no radio wide"):
        copy.find(tmp_path / "two", "van", "wide")


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
