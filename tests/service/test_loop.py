"""The service as a whole: what becomes of drops that arrive."""

from __future__ import annotations

import json
import re
import shutil
import threading
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest

from keyturn import pipeline
from keyturn.inbox import survey
from keyturn.outbox import shop_state
from keyturn.service import loop
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.shop.progress import Stopped
from keyturn.shop.state_records import Working
from keyturn.workers.crew import InlineCrew
from samples import PATIENCE_S, Clock, Drop, until
from shop_runs import lay, rejected, revisions, run_until_quiet, service_of
from slow_crew import SlowCrew


def set_at_once(shop: Shop, drops: int) -> None:
    settings = shop.root / "keyturn.toml"
    settings.write_text(f"drops_at_once = {drops}\n{settings.read_text(encoding='utf-8')}", encoding="utf-8")


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


def test_the_shops_name_is_on_all_its_papers(shop: Shop, drop: Drop) -> None:
    with (shop.root / "keyturn.toml").open("a", encoding="utf-8") as file:
        file.write('[shop]\nname = "Lantern & Row"\n')
    tiny = shop.rules / "radios" / "tiny.toml"
    tiny.write_text(tiny.read_text(encoding="utf-8").replace("extra_files = false", "extra_files = true"))
    lay(drop(), shop)
    lay(drop("bad", manifest='customer = "C"\nradio = "tinny"\n'), shop)
    run_until_quiet(shop)
    customer = shop.outbox / "fern-hollow-mobile-library"
    pages = [customer / "proof.html", customer / "van-r1" / "card.html", customer / "van-r1" / "proof.html"]
    for page in (shop.board, *pages, shop.rejects / "bad" / "REJECTED.html"):
        assert "Lantern &amp; Row" in page.read_text(encoding="utf-8"), page
    assert "Lantern & Row" in (customer / "van-r1" / "usb" / "INSTALL.txt").read_text(encoding="ascii")


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
    set_at_once(shop, 1)
    for name in ("a", "b"):
        lay(drop(name, frames=1), shop)
    lay(drop("z", frames=1, manifest='customer = "C"\nradio = "tiny"\nrush = true\n'), shop)
    made: list[str] = []

    def note(working: Working | None) -> None:
        if working and working.name not in made:
            made.append(working.name)

    Service(shop, on_progress=note, crew_of=lambda settings, rules: InlineCrew()).run(until_quiet=True)
    assert made == ["z", "a", "b"]


class Held:
    """Holds every drop in `pipeline.make` until `let_go` is set; `in_hand` gets their names."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.in_hand: list[str] = []
        self.let_go = threading.Event()
        real = pipeline.make

        def make(job: pipeline.Job, *args: Any) -> pipeline.Made:
            self.in_hand.append(job.name)
            self.let_go.wait(PATIENCE_S)
            return real(job, *args)

        monkeypatch.setattr(pipeline, "make", make)


def test_several_drops_are_made_at_the_same_time_and_all_are_told(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, running: Service
) -> None:
    held = Held(monkeypatch)
    for name in ("bus", "cart", "van"):
        lay(drop(name, frames=1), shop)
    until(lambda: len(held.in_hand) == 2)
    until(lambda: {w.name for w in shop_state.current_state(shop).working} == set(held.in_hand))
    time.sleep(0.3)
    assert len(held.in_hand) == 2, "drops_at_once is 2"
    lay(drop("z", frames=1, manifest='customer = "C"\nradio = "tiny"\nrush = true\n'), shop)
    until(lambda: "z" in held.in_hand)
    held.let_go.set()
    until(lambda: len(revisions(shop)) == 4 and running.state().working == ())
    assert {job.job for job in running.state().ready} == {"bus", "cart", "van", "z"}


def test_a_drop_of_the_same_job_waits_and_becomes_the_next_revision(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, running: Service
) -> None:
    held = Held(monkeypatch)
    for name in ("van", "van-again"):
        lay(drop(name, frames=1, manifest='customer = "C"\nradio = "tiny"\njob = "van"\n'), shop)
    until(lambda: len(running.state().working) == 2)
    time.sleep(0.3)
    assert held.in_hand == ["van"]
    held.let_go.set()
    until(lambda: revisions(shop) == ["c/van-r1", "c/van-r2"])


def test_a_small_drop_passes_a_large_one_in_hand_and_another_large_one_waits(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, running: Service
) -> None:
    """Names, for the large ones are told by what is in the inbox: `survey.SMALL_FILES`."""
    monkeypatch.setattr(survey, "SMALL_FILES", 6)
    held = Held(monkeypatch)
    lay(drop("a-film", frames=9), shop)
    until(lambda: held.in_hand == ["a-film"])
    lay(drop("b-film", frames=9), shop)
    until(lambda: running.state().waiting_total == 1)
    lay(drop("van", frames=1), shop)
    until(lambda: held.in_hand == ["a-film", "van"])
    assert [w.name for w in running.state().waiting] == ["b-film"]
    held.let_go.set()
    until(lambda: len(revisions(shop)) == 3)


def test_a_stop_leaves_both_drops_in_work_for_the_next_start(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = Held(monkeypatch)
    for name in ("bus", "van"):
        lay(drop(name, frames=1), shop)
    service = service_of(shop)
    thread = threading.Thread(target=service.run)
    thread.start()
    until(lambda: len(held.in_hand) == 2)
    service.stop()
    held.let_go.set()
    thread.join(PATIENCE_S)
    assert revisions(shop) == [] and len(list(shop.work.iterdir())) == 2
    run_until_quiet(shop)
    assert len(revisions(shop)) == 2


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


def test_a_file_that_defeats_its_reader_is_read_once_for_a_whole_drop(shop: Shop, drop: Drop) -> None:
    """Not again for the logo, the other pictures and the rejects page. The next drop's file of that name is."""
    crew = SlowCrew(Clock(), 0, deadly=["lamps/0001.png"])
    for name in ("van", "boat"):
        lay(drop(name, frames=3), shop)
        Service(shop, crew_of=lambda wanted, rules: crew).run(until_quiet=True)
    assert rejected(shop) == ["boat", "van"]
    assert crew.tried.count("lamps/0001.png") == 2


def test_a_stop_takes_less_than_the_unit_allows() -> None:
    """systemd.service(5): what is left after TimeoutStopSec= is killed. Five seconds are for writing and for a busy
    machine."""
    unit = (Path(__file__).parents[2] / "systemd" / "keyturn.service").read_text(encoding="utf-8")
    (allowed,) = re.findall(r"^TimeoutStopSec=(\d+)s$", unit, re.MULTILINE)
    assert loop.FRAME_S + loop.HOOKS_S < loop.STOP_S <= int(allowed) - 5


def test_a_drop_that_does_not_end_in_time_is_told_and_keeps_the_lock(
    shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The state says that the service has stopped, with the drop still in work; nobody else may begin on it."""
    monkeypatch.setattr(loop, "STOP_S", 0.1)
    monkeypatch.setattr(loop, "FRAME_S", 0.1)
    began, ends = threading.Event(), threading.Event()

    def understand(*args: object) -> None:
        began.set()
        ends.wait(PATIENCE_S)
        raise Stopped

    monkeypatch.setattr(pipeline, "understand", understand)
    lay(drop(), shop)
    service = service_of(shop)
    thread = threading.Thread(target=service.run)
    thread.start()
    try:
        assert began.wait(PATIENCE_S)
        service.stop()
        until(lambda: (known := shop_state.read_state(shop)) is not None and not known.running)
        known = shop_state.read_state(shop)
        assert known is not None and [w.name for w in known.working] == ["van"]
        assert shop.is_running()
    finally:
        ends.set()
        thread.join(PATIENCE_S)
    assert not shop.is_running()
    assert [w.name for w in shop_state.current_state(shop).working] == ["van"]
