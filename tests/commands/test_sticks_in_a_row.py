"""`keyturn copy JOB --all`: one stick after the other, each another one, and on from where it was stopped."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from keyturn.commands import copy, make_by_hand, slip_entry, sticks_in_a_row
from keyturn.commands.stick_copy import HALFWAY, StickFolder
from keyturn.outbox import published_digests, revision_life
from keyturn.pipeline import Bench
from keyturn.shop import durable_files, mounts
from keyturn.shop.folders import Shop
from keyturn.shop.mounts import Mount
from keyturn.shop.wrong_use import WrongUse
from samples import Drop, Run

Said = pytest.CaptureFixture[str]
VANS = ("Van 1", "Van 2", "Van 3")
FOR_VANS = f'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\nvehicles = {list(VANS)}\n'
Act = Callable[[], object]


@pytest.fixture
def made(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """A job "van" for three vehicles in the shop's outbox: its stick folder."""
    folder = make_by_hand.make(drop(frames=2, manifest=FOR_VANS), shop.outbox, bench).folder
    assert folder is not None
    published_digests.record(shop.published, f"{folder.parent.name}/{folder.name}", folder)
    return folder / "usb"


class Hand:
    """Plugs sticks in and pulls them out, one act each time the command waits. With no act left it presses Ctrl-C."""

    def __init__(self, desk: Path) -> None:
        self.desk, self.acts = desk, list[Act]()
        self.ids: dict[Path, str] = {}
        self.plugged: list[Path] = []

    def pause(self) -> None:
        if not self.acts:
            raise KeyboardInterrupt
        self.acts.pop(0)()

    def plug(self, name: str) -> None:
        """Plug in one stick in the place of any other: an empty one the first time."""
        place = self.desk / name
        place.mkdir(exist_ok=True)
        self.ids.setdefault(place, f"1A2B-{name}")
        self.plugged[:] = [place]

    def pull(self) -> None:
        self.plugged.clear()


@pytest.fixture
def hand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Hand:
    hand = Hand(tmp_path / "desk")
    hand.desk.mkdir()
    monkeypatch.setattr(copy, "time", SimpleNamespace(sleep=lambda seconds: hand.pause()))
    real = mounts.stick_id
    monkeypatch.setattr(mounts, "stick_id", lambda place: hand.ids.get(place) or real(place))
    monkeypatch.setattr(
        mounts, "sticks", lambda: tuple(Mount(place, "vfat", "/dev/sdx1", "8:1", True) for place in hand.plugged)
    )
    return hand


def files_of(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def noted(made: Path, shop: Shop | None = None) -> list[tuple[str, str]]:
    """Return vehicle and stick of each slip beside the revision, and of those that wait in the shop's inbox."""
    return [(slip.vehicle, slip.stick_id) for slip in slip_entry.entered(shop, made.parent, "copied")]


# -- sticks that tell their ids ---------------------------------------------------------------------


def test_every_vehicle_gets_a_stick_of_its_own(run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said) -> None:
    hand.acts = [lambda name=name: hand.plug(name) for name in "abc"]  # type: ignore[misc]
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 0
    said = capsys.readouterr().out
    asked = [line for line in said.splitlines() if "plug in" in line]
    assert asked == ["Van 1: plug in a stick.", "Van 2: plug in the next stick.", "Van 3: plug in the next stick."]
    assert "Van 3: 2 files are on" in said and "Every stick is made" in said
    for name in "abc":
        assert files_of(hand.desk / name) == files_of(made)
    assert noted(made) == [("Van 1", "1A2B-a"), ("Van 2", "1A2B-b"), ("Van 3", "1A2B-c")]
    assert run("copy", "van", "--all", "--root", shop.root) == 0
    assert "No stick is left." in capsys.readouterr().out and len(noted(made)) == 3


def test_the_same_stick_again_is_not_taken(run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said) -> None:
    hand.acts = [lambda: hand.plug("a"), lambda: None, hand.pull, lambda: hand.plug("a"), lambda: None]
    hand.acts += [lambda: hand.plug("b"), hand.pull, lambda: hand.plug("a")]
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 130
    said = capsys.readouterr().out
    assert said.count("a is the stick of Van 1 again") == 2, "told once each time it is plugged in"
    assert 'keyturn copy van --vehicle "Van 2"' in said
    assert "Stopped. Still to be made: Van 3. The same command goes on with Van 3." in said
    assert noted(made) == [("Van 1", "1A2B-a"), ("Van 2", "1A2B-b")]


def test_it_goes_on_where_it_was_stopped(run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said) -> None:
    hand.acts = [lambda: hand.plug("a")]
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 130
    hand.acts = [lambda: hand.plug("b"), hand.pull, lambda: hand.plug("c")]
    capsys.readouterr()
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "Done before: Van 1." in said and "a is the stick of Van 1 again" in said
    assert noted(made) == [("Van 1", "1A2B-a"), ("Van 2", "1A2B-b"), ("Van 3", "1A2B-c")]


@pytest.mark.parametrize("fault", [errno.EIO, errno.ENODEV, KeyboardInterrupt])
def test_a_stick_pulled_midway_is_not_noted_and_made_anew(
    run: Run, shop: Shop, made: Path, hand: Hand, monkeypatch: pytest.MonkeyPatch, capsys: Said, fault: Any
) -> None:
    def pulled(descriptor: int) -> None:
        raise fault() if fault is KeyboardInterrupt else OSError(fault, os.strerror(fault))

    hand.acts = [lambda: hand.plug("a")]
    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", pulled)
        assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == (
            130 if fault is KeyboardInterrupt else 2
        )
    said = capsys.readouterr()
    assert "Still to be made: Van 1, Van 2, Van 3." in said.out and noted(made) == []
    assert fault is KeyboardInterrupt or "stopped answering" in " ".join(said.err.split())
    assert not list(hand.desk.rglob(f"*{HALFWAY}"))
    hand.acts = [lambda: hand.plug("b"), lambda: hand.plug("c")]
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 0
    assert [vehicle for vehicle, _ in noted(made)] == list(VANS)


def at_call(number: int, fault: BaseException, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Let the `number`-th step of writing, comparing or noting fail. Return the steps done, which grow."""
    done: list[str] = []

    def failing(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **named: Any) -> Any:
            done.append(name)
            if len(done) == number:
                raise fault
            return real(*arguments, **named)

        return call

    steps: list[tuple[Any, str]] = [
        *((os, name) for name in ("fsync", "posix_fadvise", "replace")),
        *((Path, name) for name in ("replace", "mkdir")),
        (durable_files, "sha256"),
        *((revision_life, name) for name in ("enter", "remove_left_over")),
    ]
    for where, name in steps:
        monkeypatch.setattr(where, name, failing(name, getattr(where, name)))
    return done


@pytest.mark.slow
@pytest.mark.parametrize(
    "fault", [KeyboardInterrupt(), OSError(errno.EIO, "Input/output error")], ids=["ctrl-c", "pulled"]
)
def test_stopped_at_any_step_no_stick_is_noted_that_is_not_whole_and_all_are_made_in_the_end(
    run: Run, shop: Shop, made: Path, hand: Hand, monkeypatch: pytest.MonkeyPatch, fault: BaseException
) -> None:
    """Both ways of stopping, at each step of the first stick and of the beginning of the second."""
    number, steps = 0, ["first"]
    while number <= len(steps):  # until no step is left that could be stopped
        number += 1
        (made.parent / "copied.json").unlink(missing_ok=True)
        for slip in shop.inbox.iterdir():
            slip.unlink()
        for place in hand.desk.iterdir():
            shutil.rmtree(place)
        hand.pull()
        hand.acts = [lambda: hand.plug("a"), lambda: hand.plug("b")]
        with monkeypatch.context() as patched:
            steps = at_call(number, fault, patched)
            told = ("--all", "--any-folder", "--vehicle", "Van 1", "--vehicle", "Van 2", "--root", shop.root)
            code = run("copy", "van", *told)
        assert code in (0, 2, 130)
        for _, known in noted(made, shop):
            assert files_of(hand.desk / known[-1]) == files_of(made), number
        hand.acts = [lambda: hand.plug("a"), lambda: hand.plug("b"), lambda: hand.plug("c")]
        assert run("copy", "van", *told) == 0
        assert sorted(vehicle for vehicle, _ in noted(made, shop)) == ["Van 1", "Van 2"], number
        assert len({known for _, known in noted(made, shop)}) == 2, number
    assert number > 20


def test_a_stick_that_cannot_be_used_is_told_and_another_waited_for(
    run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said
) -> None:
    hand.acts = [lambda: hand.plug("a"), lambda: None, hand.pull, lambda: None]
    assert run("copy", "van", "--all", "--root", shop.root) == 130
    assert capsys.readouterr().out.count("is not where a stick is mounted") == 1
    assert noted(made) == [] and files_of(hand.desk) == {}


def test_of_several_sticks_only_those_are_taken_that_hold_nothing_else(
    run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said
) -> None:
    for name in "abc":
        hand.plug(name)
    hand.plugged[:] = [hand.desk / name for name in "abc"]
    (hand.desk / "a" / "photographs").mkdir()
    (hand.desk / "b" / "System Volume Information").mkdir()
    (hand.desk / "c" / ".Trash-1000").mkdir()
    hand.acts = [lambda: None]
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 130
    said = capsys.readouterr().out
    assert said.count("a holds other files: plug it in alone") == 1
    assert noted(made) == [("Van 1", "1A2B-b"), ("Van 2", "1A2B-c")] and files_of(hand.desk / "a") == {}
    hand.plug("a")
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 0
    assert noted(made)[2:] == [("Van 3", "1A2B-a")] and (hand.desk / "a" / "photographs").is_dir()


def test_files_in_the_way_stop_it_where_nobody_can_be_asked(
    run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said
) -> None:
    hand.plug("a")
    (hand.desk / "a" / "logo.png").write_bytes(b"theirs")
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 2
    assert "--replace" in capsys.readouterr().err
    assert run("copy", "van", "--all", "--any-folder", "--replace", "--root", shop.root) == 130
    assert noted(made) == [("Van 1", "1A2B-a")]


def test_on_a_no_the_stick_stays_as_it_is(
    run: Run, shop: Shop, made: Path, hand: Hand, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    hand.plug("a")
    (hand.desk / "a" / "logo.png").write_bytes(b"theirs")
    monkeypatch.setattr(type(copy.err), "is_terminal", property(lambda console: True))
    asked: list[str] = []
    monkeypatch.setattr(copy.typer, "confirm", lambda text: asked.append(text))
    hand.acts = [lambda: None, lambda: hand.plug("b")]
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 130
    assert len(asked) == 1 and (hand.desk / "a" / "logo.png").read_bytes() == b"theirs"
    assert noted(made) == [("Van 1", "1A2B-b")]


# -- which sticks are left --------------------------------------------------------------------------


def test_some_vehicles_alone_and_none_that_is_fitted(
    run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said
) -> None:
    assert run("fitted", "van", "--vehicle", "Van 2", "--root", shop.root) == 0
    hand.acts = [lambda: hand.plug("a"), lambda: hand.plug("b")]
    alone = ("--vehicle", "van 3", "--vehicle", "Van 2", "--root", shop.root)
    assert run("copy", "van", "--all", "--any-folder", *alone) == 0
    assert noted(made) == [("Van 3", "1A2B-a")]
    assert "Done before: Van 2." in capsys.readouterr().out
    assert run("copy", "van", "--vehicle", "Van 9", "--root", shop.root) == 2
    assert run("copy", "van", "--all", "--vehicle", "Van 9", "--root", shop.root) == 2
    assert run("copy", "van", *alone) == 2, "one stick is for one vehicle"


def test_one_stick_for_one_vehicle(run: Run, shop: Shop, made: Path, hand: Hand) -> None:
    hand.plug("a")
    assert run("copy", "van", "--vehicle", "van 2", "--any-folder", "--root", shop.root) == 0
    assert noted(made) == [("Van 2", "1A2B-a")]
    assert run("copy", "van", "--any-folder", "--root", shop.root) == 0
    assert noted(made)[1] == ("", "1A2B-a"), "a stick that goes for all"


def test_without_the_customers_yes_no_stick_is_written(
    run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said
) -> None:
    (shop.root / "keyturn.toml").write_text("[approval]\nrequired = true\n", encoding="utf-8")
    hand.plug("a")
    assert run("copy", "van", "--all", "--any-folder", "--root", shop.root) == 1
    assert files_of(hand.desk) == {} and "yes" in capsys.readouterr().err


def test_of_a_job_without_vehicles_each_radio_has_a_stick(source: StickFolder) -> None:
    other = source.radio.model_copy(update={"radio": "wide", "folder": "usb-wide"})
    job = source.job.model_copy(update={"radios": (source.radio, other)})
    sticks = sticks_in_a_row.sticks_of(job, source.folder.parent, None, ())
    assert [(stick.name, stick.source.folder.name) for stick in sticks] == [("tiny", "usb"), ("wide", "usb-wide")]
    slip = slip_entry.slip_for("copied", source.folder.parent, job, radio="tiny", stick_id="1A2B")
    assert [stick.name for stick in sticks_in_a_row.left_of(sticks, [slip], [])] == ["wide"]
    assert sticks_in_a_row.used_for(sticks, [slip]) == {"1A2B": "tiny"}
    vans = job.model_copy(update={"vehicles": VANS})
    with pytest.raises(WrongUse, match="several radios"):
        sticks_in_a_row.sticks_of(vans, source.folder.parent, None, ())
    chosen = sticks_in_a_row.sticks_of(vans, source.folder.parent, "wide", ())
    assert [stick.key for stick in chosen] == [(van, "wide") for van in VANS]


# -- folders, and sticks that tell no id ------------------------------------------------------------


def test_a_plain_folder_must_be_a_new_empty_one_each_time(
    run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said
) -> None:
    target, kept = hand.desk / "target", hand.desk / "kept"

    def take_away() -> None:
        shutil.move(target, kept)

    def half_emptied() -> None:
        shutil.copytree(kept, target)
        (target / "logo.png").unlink()

    hand.acts = [target.mkdir, lambda: None, take_away, half_emptied, (target / "bootanimation.zip").unlink]
    assert run("copy", "van", target, "--all", "--any-folder", "--root", shop.root) == 130
    said = capsys.readouterr().out
    assert "holds files of this job: empty it" in said
    assert files_of(target) == files_of(kept) == files_of(made)
    assert [vehicle for vehicle, _ in noted(made)] == ["Van 1", "Van 2"]


def test_what_a_stopped_copy_left_is_completed_and_other_files_are_not_touched(
    run: Run, shop: Shop, made: Path, hand: Hand, capsys: Said
) -> None:
    target = hand.desk / "target"
    target.mkdir()
    shutil.copy(made / "logo.png", target)
    (target / f"bootanimation.zip{HALFWAY}").write_bytes(b"half")
    assert run("copy", "van", target, "--all", "--any-folder", "--root", shop.root) == 130
    assert files_of(target) == files_of(made) and [vehicle for vehicle, _ in noted(made)] == ["Van 1"]
    other = hand.desk / "other"
    other.mkdir()
    (other / "letter.txt").write_text("theirs")
    assert run("copy", "van", other, "--all", "--any-folder", "--root", shop.root) == 130
    assert "other is not empty" in capsys.readouterr().out and [p.name for p in other.iterdir()] == ["letter.txt"]


@pytest.fixture
def mounted(tmp_path: Path) -> Iterator[Callable[[str], Path]]:
    """mounted("mount") mounts a small memory disk, mounted("umount") takes it out; both return the place."""
    place = tmp_path / "mounted"
    place.mkdir()

    def change(what: str) -> Path:
        more = ("-t", "tmpfs", "-o", "size=4m", "none") if what == "mount" else ()
        if subprocess.run([what, *more, place], capture_output=True).returncode:
            pytest.skip("no file system can be mounted here")
        return place

    yield change
    while subprocess.run(["umount", place], capture_output=True).returncode == 0:
        pass


@pytest.mark.system
@pytest.mark.skipif(os.geteuid() != 0, reason="only root can mount")
def test_file_systems_mounted_one_after_the_other(
    run: Run, shop: Shop, made: Path, hand: Hand, mounted: Callable[[str], Path]
) -> None:
    """mount(8): really mounted, each at the same place, on devices that tell neither id nor serial number."""
    target = mounted("mount")
    (target / "letter.txt").write_text("other files on a stick stay")
    seen: list[set[str]] = []

    def take_out() -> None:
        seen.append(set(files_of(target)))
        mounted("umount")

    hand.acts = [take_out, lambda: None, lambda: mounted("mount"), take_out, lambda: mounted("mount")]
    assert run("copy", "van", target, "--all", "--any-folder", "--root", shop.root) == 0
    assert seen == [{"letter.txt", *files_of(made)}, set(files_of(made))]
    mounted("umount")
    assert files_of(target) == {}, "nothing was written where no stick was mounted"
    assert [slip.vehicle for slip in revision_life.read(made.parent).copied] == list(VANS)
