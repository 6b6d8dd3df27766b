"""The service as a whole: drops that arrive while it runs, faults of the shop's machine, and being killed."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from faults import live
from keyturn.inbox.survey import snapshot
from keyturn.outbox import shop_state
from keyturn.outbox.ledger import Ledger
from keyturn.service import bookkeeping, drop_folders, recovery
from keyturn.service.loop import Service
from keyturn.service.start_up import STEP_S
from keyturn.service.systemd import Notifier
from keyturn.shop import rulebook, settings
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import Working
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import InlineCrew
from samples import PATIENCE_S, Drop, until


def service_of(shop: Shop) -> Service:
    return Service(shop, crew_of=lambda settings, rules: InlineCrew())


def run_until_quiet(shop: Shop) -> Service:
    service = service_of(shop)
    service.run(until_quiet=True)
    return service


def lay(root: Path, shop: Shop, name: str | None = None) -> None:
    shutil.copytree(root, shop.inbox / (name or root.name))


def revisions(shop: Shop) -> list[str]:
    return sorted(p.parent.relative_to(shop.outbox).as_posix() for p in shop.outbox.glob("[!.]*/*/job.json"))


def rejected(shop: Shop) -> list[str]:
    return sorted(p.name for p in shop.rejects.iterdir())


@pytest.fixture
def running(shop: Shop) -> Iterator[Service]:
    with live.running(shop) as service:
        yield service


def test_a_drop_goes_through_to_outbox_and_archive(shop: Shop, drop: Drop) -> None:
    lay(drop(), shop)
    service = run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    customer = shop.outbox / "fern-hollow-mobile-library"
    assert (customer / "proof.html").is_file()
    assert (customer / "van-r1" / "card.html").is_file()
    assert sorted(p.name for p in (customer / "van-r1" / "usb").iterdir()) == ["bootanimation.zip", "logo.png"]
    assert not list(shop.inbox.iterdir()) and not list(shop.work.iterdir())
    assert len(list(shop.archive.glob("*/van-r1--*/job.toml"))) == 1
    assert service.state().ready[0].job == "van"
    assert "van" in shop.board.read_text(encoding="utf-8")


def test_a_bad_drop_goes_to_rejects_and_is_mended_there_and_dragged_back(shop: Shop, drop: Drop) -> None:
    root = drop()
    (root / "job.toml").write_text('customer = "C"\nradio = "tinny"\n')
    lay(root, shop)
    run_until_quiet(shop)
    folder = shop.rejects / "van"
    assert {"REJECTED.html", "REJECTED.txt", "REJECTED.json", "job.toml", "lamps"} == {p.name for p in folder.iterdir()}
    assert '"tiny"' in (folder / "REJECTED.txt").read_text(encoding="utf-8")
    (folder / "job.toml").write_text('customer = "C"\nradio = "tiny"\n')
    folder.rename(shop.inbox / "van")
    service = run_until_quiet(shop)
    assert revisions(shop) == ["c/van-r1"]
    assert service.state().refused_total == 0
    kept = next(shop.archive.glob("c/van-r1--*"))
    assert not list(kept.glob("REJECTED*"))


def test_a_drop_copied_slowly_file_by_file_is_taken_once_and_only_when_whole(
    shop: Shop, drop: Drop, running: Service
) -> None:
    root = drop(frames=12)
    target = shop.inbox / "van"
    (target / "lamps").mkdir(parents=True)
    shutil.copy(root / "job.toml", target)
    for path in sorted((root / "lamps").iterdir()):
        shutil.copy(path, target / "lamps" / f"{path.name}.part")
        time.sleep(0.15)  # longer than the settle time: only the name tells that it is not whole
        (target / "lamps" / f"{path.name}.part").rename(target / "lamps" / path.name)
        shutil.copy(path, target / "lamps" / "next.part")
    assert revisions(shop) == []
    (target / "lamps" / "next.part").unlink()
    until(lambda: revisions(shop) != [] and running.state().working == ())
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    record = json.loads((shop.outbox / revisions(shop)[0] / "job.json").read_text())
    assert record["radios"][0]["parts"][0]["frames"] == 12


def test_twenty_drops_at_once_all_end_somewhere_and_none_twice(shop: Shop, drop: Drop) -> None:
    good, bad = drop("good", frames=2), drop("bad", frames=2)
    (bad / "lamps" / "0002.png").write_bytes(b"broken")
    for number in range(20):
        lay(bad if number % 4 == 0 else good, shop, f"drop-{number:02d}")
    run_until_quiet(shop)
    assert len(revisions(shop)) == 15
    assert len(rejected(shop)) == 5
    assert len(list(shop.archive.glob("*/*"))) == 15
    assert not list(shop.inbox.iterdir()) and not list(shop.work.iterdir())


def test_a_rush_drop_goes_before_those_that_wait(shop: Shop, drop: Drop) -> None:
    for name in ("a", "b"):
        lay(drop(name, frames=1), shop)
    lay(drop("z", frames=1, manifest='customer = "C"\nradio = "tiny"\nrush = true\n'), shop)
    made: list[str] = []

    def told(working: Working | None) -> None:
        if working and working.name not in made:
            made.append(working.name)

    Service(shop, on_progress=told, crew_of=lambda settings, rules: InlineCrew()).run(until_quiet=True)
    assert made == ["z", "a", "b"]


def test_a_zip_in_the_inbox_is_a_drop(shop: Shop, drop: Drop) -> None:
    root = drop()
    with zipfile.ZipFile(shop.inbox / "van.zip", "w") as pack:
        for path in sorted(root.rglob("*.*")):
            pack.write(path, path.relative_to(root))
    run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    assert len(list(shop.archive.glob("*/van-r1--*/van.zip"))) == 1


def test_a_loose_picture_is_refused_and_kept(shop: Shop, drop: Drop) -> None:
    shutil.copy(drop() / "lamps" / "0001.png", shop.inbox / "lamp.png")
    run_until_quiet(shop)
    assert (shop.rejects / "lamp" / "lamp.png").is_file()
    assert "job.toml" in (shop.rejects / "lamp" / "REJECTED.txt").read_text(encoding="utf-8")


def test_junk_files_and_hidden_names_are_left_alone(shop: Shop) -> None:
    for name in (".DS_Store", "Thumbs.db", ".hidden"):
        (shop.inbox / name).write_bytes(b"x")
    run_until_quiet(shop)
    assert len(list(shop.inbox.iterdir())) == 3
    assert rejected(shop) == []


def test_the_ledger_can_be_deleted(shop: Shop, drop: Drop) -> None:
    lay(drop(), shop)
    run_until_quiet(shop)
    for path in shop.state.glob("ledger*"):
        path.unlink()
    (shop.outbox / "fern-hollow-mobile-library" / "proof.html").unlink()
    service = run_until_quiet(shop)
    assert service.state().ready_total == 1
    assert (shop.outbox / "fern-hollow-mobile-library" / "proof.html").is_file()


def test_the_ledger_can_be_deleted_while_the_service_runs(shop: Shop, drop: Drop, running: Service) -> None:
    lay(drop(), shop)
    until(lambda: running.state().ready_total == 1)
    for path in shop.state.glob("ledger*"):
        path.unlink()
    until(lambda: running.state().ready_total == 1)
    assert "van" in running.state().ready[0].job


def test_a_revision_put_in_the_outbox_by_hand_is_found(shop: Shop, drop: Drop, running: Service) -> None:
    lay(drop(), shop)
    until(lambda: running.state().ready_total == 1)
    customer = shop.outbox / "fern-hollow-mobile-library"
    record = json.loads((customer / "van-r1" / "job.json").read_text()) | {"job": "ferry"}
    shutil.copytree(customer / "van-r1", customer / "ferry-r1")
    (customer / "ferry-r1" / "job.json").write_text(json.dumps(record))
    running._upkeep.reconcile_at = 0.0
    until(lambda: {job.job for job in running.state().ready} == {"van", "ferry"})
    assert "ferry" in (customer / "proof.html").read_text(encoding="utf-8")


def test_a_revision_that_fitters_take_away_is_no_longer_shown(shop: Shop, drop: Drop) -> None:
    lay(drop(), shop)
    run_until_quiet(shop)
    shutil.rmtree(shop.outbox / revisions(shop)[0])
    assert run_until_quiet(shop).state().ready_total == 0
    lay(drop("again"), shop, "van")
    run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r2"], "a number is not used again"


# -- faults of the shop -------------------------------------------------------------------------------


def test_a_full_disk_pauses_and_goes_on_when_there_is_space(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = drop_folders.DropFolders.staging
    full = threading.Event()
    full.set()

    def staging(self: drop_folders.DropFolders, claim: drop_folders.Claim) -> Path:
        if full.is_set():
            raise OSError(errno.ENOSPC, "No space left on device", str(self.shop.outbox))
        return real(self, claim)

    monkeypatch.setattr(drop_folders.DropFolders, "staging", staging)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_FIRST_S", 0.05)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_MOST_S", 0.05)
    monkeypatch.setattr("keyturn.service.status.BOARD_EVERY_S", 0.05)
    lay(drop(), shop)
    service = service_of(shop)
    thread = threading.Thread(target=service.run)
    thread.start()
    try:
        until(lambda: shop.board.exists() and "No space left" in shop.board.read_text(encoding="utf-8"))
        state = shop_state.current_state(shop)
        assert state.paused and "free some space" in state.paused
        assert rejected(shop) == []
        full.clear()
        until(lambda: revisions(shop) != [])
        until(lambda: service.state().paused is None)
    finally:
        service.stop()
        thread.join(PATIENCE_S)


@pytest.mark.parametrize("where", ["_archive", "enter_ready"])
def test_a_fault_after_publication_never_publishes_twice(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    owner = drop_folders.DropFolders if where == "_archive" else bookkeeping.Bookkeeping
    real = getattr(owner, where)
    failures = iter([True, True])

    def fails_twice(self: object, *args: object) -> object:
        if next(failures, False):
            raise OSError(errno.EROFS, "Read-only file system", "x")
        return real(self, *args)

    monkeypatch.setattr(owner, where, fails_twice)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_FIRST_S", 0.05)
    lay(drop(), shop)
    service = run_until_quiet(shop)
    if service.state().ready_total == 0:
        service = run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    assert service.state().ready_total == 1
    assert len(list(shop.archive.glob("*/*"))) == 1


READ_AT_START = {
    "the settings": (settings, "load"),
    "the rules": (rulebook, "load"),
    "the lock": (Shop, "held"),
    "the folders": (Shop, "require"),
    "the ledger": (Ledger, "opened"),
    "what was in work": (recovery, "recover"),
}


@pytest.mark.parametrize("number", [errno.EIO, errno.EACCES])
@pytest.mark.parametrize("what", list(READ_AT_START))
def test_the_start_waits_for_the_disk_and_says_so(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, what: str, number: int
) -> None:
    """Reading fails three times, then works. The service manager hears READY=1 and the reason (sd_notify(3))."""
    owner, name = READ_AT_START[what]
    real = getattr(owner, name)
    failures = iter([True] * 3)

    def fails_at_first(*args: object, **named: object) -> object:
        if next(failures, False):
            raise OSError(number, os.strerror(number), "keyturn.toml")
        return real(*args, **named)

    monkeypatch.setattr(owner, name, fails_at_first)
    monkeypatch.setattr("keyturn.service.backoff.RETRY_FIRST_S", 0.01)
    lay(drop(frames=1), shop)
    told: list[str] = []
    monkeypatch.setattr(Notifier, "_send", lambda self, *lines: told.extend(lines))
    run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    assert next(failures, None) is None
    assert told[0] == "READY=1"
    assert told[1].startswith("STATUS=Paused: ") and os.strerror(number) in told[1]


def test_the_start_asks_for_time_before_each_drop_in_work_and_each_customer(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A shop with one customer's revision, without its ledger, in which the service was killed with two drops in work.
    sd_notify(3): EXTEND_TIMEOUT_USEC= counts until READY=1."""
    lay(drop(frames=1), shop)
    run_until_quiet(shop)
    for path in shop.state.glob("ledger*"):
        path.unlink()
    folders = drop_folders.DropFolders(shop, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
    for name in ("bus", "ferry"):
        lay(drop(name, frames=1), shop)
        folders.claim(name, snapshot(shop.inbox / name))
    told: list[str] = []
    monkeypatch.setattr(Notifier, "_send", lambda self, *lines: told.extend(lines))
    run_until_quiet(shop)
    assert told[:4] == [f"EXTEND_TIMEOUT_USEC={round(STEP_S * 1e6)}"] * 3 + ["READY=1"]
    assert not any(line.startswith("EXTEND") for line in told[4:])
    assert len(revisions(shop)) == 3


@pytest.mark.parametrize("name", ["keyturn.toml", "rules/safety.toml"])
def test_wrong_settings_or_rules_end_the_start(shop: Shop, name: str) -> None:
    (shop.root / name).write_text("wrong = [")
    with pytest.raises(ShopFault, match=Path(name).name):
        run_until_quiet(shop)


def test_it_can_be_stopped_while_it_waits_for_the_disk(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    service = service_of(shop)

    def load(root: Path) -> settings.Settings:
        service.stop()
        raise OSError(errno.EIO, "Input/output error", str(root))

    monkeypatch.setattr(settings, "load", load)
    service.run()
    assert not shop.is_running()


def test_a_missing_inbox_pauses_the_service_until_it_is_back(shop: Shop, drop: Drop, running: Service) -> None:
    shop.inbox.rename(shop.root / "away")
    until(lambda: running.state().paused is not None)
    (shop.root / "away").rename(shop.inbox)
    lay(drop(), shop)
    until(lambda: revisions(shop) != [])
    until(lambda: running.state().paused is None)


def test_a_drop_that_changes_while_it_is_made_goes_back_and_is_made_whole(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from keyturn import pipeline

    real = pipeline.make
    changed = iter([True])

    def make(job: pipeline.Job, *args: object) -> object:
        made = real(job, *args)  # type: ignore[arg-type]
        if next(changed, False):
            (job.found.root / "late.txt").write_text("late")
        return made

    monkeypatch.setattr(pipeline, "make", make)
    lay(drop(), shop)
    run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    assert len(list(shop.archive.glob("*/*/late.txt"))) == 1


def test_after_a_second_bug_of_ours_the_drop_is_refused_and_the_others_go_on(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from keyturn import pipeline

    real = pipeline.understand
    tries: list[str] = []

    def understand(root: Path, name: str, *args: object) -> object:
        if name == "odd":
            tries.append(name)
            raise ZeroDivisionError("a bug")
        return real(root, name, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(pipeline, "understand", understand)
    lay(drop("odd"), shop)
    lay(drop("van"), shop)
    run_until_quiet(shop)
    assert tries == ["odd", "odd"]
    assert rejected(shop) == ["odd"]
    assert "not your fault" in (shop.rejects / "odd" / "REJECTED.txt").read_text(encoding="utf-8")
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]


def test_new_rules_are_read_on_reload(shop: Shop, drop: Drop, running: Service) -> None:
    text = (shop.rules / "radios" / "tiny.toml").read_text()
    (shop.rules / "radios" / "brand-new.toml").write_text(text)
    running.reload()
    until(lambda: not running._reloading.is_set())
    lay(drop(manifest='customer = "C"\nradio = "brand-new"\n'), shop)
    until(lambda: revisions(shop) == ["c/van-r1"])


def test_a_reload_waits_for_the_disk(shop: Shop, drop: Drop, running: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("keyturn.service.backoff.RETRY_FIRST_S", 0.05)
    real, failures = rulebook.load, iter([True] * 2)

    def load(rules: Path | None = None) -> Rulebook:
        if next(failures, False):
            raise OSError(errno.EIO, "Input/output error", str(rules))
        return real(rules)

    monkeypatch.setattr(rulebook, "load", load)
    (shop.rules / "radios" / "brand-new.toml").write_text((shop.rules / "radios" / "tiny.toml").read_text())
    running.reload()
    lay(drop(manifest='customer = "C"\nradio = "brand-new"\n'), shop)
    until(lambda: revisions(shop) == ["c/van-r1"] or rejected(shop) == ["van"])
    assert next(failures, None) is None


def test_a_reload_with_wrong_rules_keeps_the_old_ones(shop: Shop, drop: Drop, running: Service) -> None:
    (shop.rules / "safety.toml").write_text("[flash]\non_failure = 7\n")
    running.reload()
    until(lambda: not running._reloading.is_set())
    lay(drop(), shop)
    until(lambda: revisions(shop) != [])


def litter_in(folder: Path, name: str) -> dict[str, Path]:
    """Make what people may leave under a record's name in folders that are open to them. Return each kind's folder."""
    places = {kind: folder / f"{kind}-r1" for kind in ("pipe", "link", "loop", "folder", "large", "deep", "closed")}
    for place in places.values():
        place.mkdir(parents=True)
    os.mkfifo(places["pipe"] / name)
    (places["link"] / name).symlink_to("/dev/zero")
    (places["loop"] / name).symlink_to(name)
    (places["folder"] / name).mkdir()
    with (places["large"] / name).open("wb") as file:
        file.truncate(2**40)
    (places["deep"] / name).write_text("[" * 100_000)
    (places["closed"] / name).write_text("{}")
    places["closed"].chmod(0)
    return places


def test_nothing_that_people_leave_in_outbox_and_rejects_stops_the_service(shop: Shop, drop: Drop) -> None:
    customer = shop.outbox / "fern-hollow-mobile-library"
    places = [*litter_in(shop.rejects, "REJECTED.json").values(), *litter_in(customer, "job.json").values()]
    with (shop.root / "keyturn.toml").open("a") as file:
        file.write("[keep]\nrejects_days = 1\narchive_gib = 1\n")
    lay(drop(frames=1), shop)
    try:
        service = run_until_quiet(shop)
        assert (service.state().ready_total, service.state().refused_total) == (1, 0)
        assert "fern-hollow-mobile-library/van-r1" in revisions(shop)
        assert all(place.exists() for place in places)
    finally:
        for place in shop.root.rglob("closed-r1"):
            place.chmod(0o700)


# -- the real process -----------------------------------------------------------------------------------


def start(shop: Shop) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-m", "keyturn", "run", "--root", str(shop.root)], stderr=subprocess.PIPE, text=True
    )
    until(lambda: shop.is_running() or process.poll() is not None)
    assert process.poll() is None, process.communicate()[1]
    return process


def test_sigterm_ends_it_at_once_with_exit_code_0_and_the_drop_is_made_next_time(shop: Shop, drop: Drop) -> None:
    lay(drop(frames=40), shop)
    process = start(shop)
    until(lambda: list(shop.work.iterdir()) != [] or revisions(shop) != [])
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    run_until_quiet(shop)
    assert revisions(shop) == ["fern-hollow-mobile-library/van-r1"]
    assert not list(shop.work.iterdir())


def test_killed_while_working_it_loses_nothing_and_doubles_nothing(shop: Shop, drop: Drop) -> None:
    for number in range(4):
        lay(drop(f"van-{number}", frames=10), shop)
    for kill_after in (0.0, 0.3, 0.8):
        process = start(shop)
        until(lambda: list(shop.work.iterdir()) != [] or not list(shop.inbox.iterdir()))
        time.sleep(kill_after)
        process.kill()
        process.communicate(timeout=PATIENCE_S)
    run_until_quiet(shop)
    assert revisions(shop) == [f"fern-hollow-mobile-library/van-{n}-r1" for n in range(4)]
    assert len(list(shop.archive.glob("*/*"))) == 4
    assert not list(shop.work.iterdir())


def test_sighup_does_not_end_it(shop: Shop, drop: Drop) -> None:
    process = start(shop)
    try:
        process.send_signal(signal.SIGHUP)
        lay(drop(), shop)
        until(lambda: revisions(shop) != [])
        assert process.poll() is None
    finally:
        process.terminate()
        process.communicate(timeout=PATIENCE_S)


def test_a_second_service_on_the_shop_is_refused_with_exit_code_2(shop: Shop) -> None:
    process = start(shop)
    try:
        second = subprocess.run(
            [sys.executable, "-m", "keyturn", "run", "--root", str(shop.root)], capture_output=True, text=True
        )
        assert second.returncode == 2
        assert "another keyturn" in second.stderr
    finally:
        process.terminate()
        process.communicate(timeout=PATIENCE_S)


def test_no_worker_outlives_a_killed_service(shop: Shop, drop: Drop) -> None:
    lay(drop(frames=60), shop)
    process = start(shop)
    until(lambda: _children(process.pid) != [])
    workers = _children(process.pid)
    process.kill()
    process.communicate(timeout=PATIENCE_S)
    until(lambda: not any(Path(f"/proc/{pid}").exists() and _alive(pid) for pid in workers))


def _children(pid: int) -> list[int]:
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found += [int(path.parent.name), *_children(int(path.parent.name))]
    return found


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_the_environment_names_the_shop(shop: Shop) -> None:
    said = subprocess.run(
        [sys.executable, "-m", "keyturn", "status", "--json"],
        env=os.environ | {"KEYTURN_ROOT": str(shop.root)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(said.stdout)["running"] is False
