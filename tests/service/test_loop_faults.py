"""The service as a whole: faults of the disk, of the settings, of drops and of ours."""

from __future__ import annotations

import errno
import os
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

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
from keyturn.shop.rulebook import Rulebook
from samples import PATIENCE_S, Drop, until
from shop_runs import lay, rejected, revisions, run_until_quiet, service_of


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
    begins, steps = 2, 3  # recovery and reconciling; two drops and a customer
    asked = [f"EXTEND_TIMEOUT_USEC={round(STEP_S * 1e6)}"] * (begins + steps)
    assert told[: len(asked) + 1] == [*asked, "READY=1"]
    assert not any(line.startswith("EXTEND") for line in told[len(asked) :])
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
    until(lambda: not running._reloading.is_due())
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
    until(lambda: not running._reloading.is_due())
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
