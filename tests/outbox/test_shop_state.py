"""The shop's state is what the running service wrote, or what the folders show where none runs."""

from __future__ import annotations

import json
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from keyturn.outbox import shop_state
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse
from keyturn.shop.records import Rejection
from keyturn.shop.state_records import ShopState, Waiting, Working
from samples import Drop

FERN = "fern-hollow-mobile-library"
SINCE = "2026-03-01T09:30:00+00:00"


def now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def claimed(shop: Shop, claim: str, name: str) -> None:
    """A drop in work."""
    (shop.work / claim / "drop").mkdir(parents=True)
    record = {"id": claim, "name": name, "form": "folder", "claimed_at": SINCE}
    (shop.work / claim / "claim.json").write_text(json.dumps(record))


def rejection() -> Rejection:
    reason = refuse("frames-doubled", "has the number 12", "keep one", file="lamps/0012 (1).png")
    return Rejection(
        keyturn="0",
        drop="ferry",
        claim="c",
        customer="C",
        rejected_at="2026-03-01T09:30:00+00:00",
        reasons=(reason,),
    )


def test_where_no_service_runs_the_state_comes_from_the_folders(shop: Shop, published: Path, drop: Drop) -> None:
    drop("waiting", frames=4).rename(shop.inbox / "waiting")
    (shop.inbox / "alone.zip").write_bytes(b"zip")
    (shop.inbox / ".hidden").mkdir()
    (shop.rejects / "ferry").mkdir()
    (shop.rejects / "ferry" / "REJECTED.json").write_text(rejection().model_dump_json())
    (shop.rejects / "just-a-folder").mkdir()
    state = shop_state.current_state(shop)
    assert not state.running
    assert [(w.name, w.files) for w in state.waiting] == [("alone.zip", 1), ("waiting", 5)]
    assert [(r.path, r.revision) for r in state.ready] == [(f"{FERN}/van-r1", 1), (f"{FERN}/van-r2", 2)]
    assert state.ready[0].radios == ("tiny",)
    assert [(r.name, r.reasons[0].code) for r in state.refused] == [("ferry", "frames-doubled")]
    assert (state.ready_total, state.refused_total) == (2, 1)


def test_what_a_service_wrote_counts_only_while_it_runs(shop: Shop) -> None:
    said = ShopState(at=now(), running=True, pid=os.getpid(), ready_total=12)
    shop_state.write_state(shop, said)
    assert shop_state.current_state(shop).ready_total == 0
    with shop.held():
        assert shop_state.current_state(shop) == said
    assert not shop_state.current_state(shop).running


def test_a_service_that_has_written_nothing_yet_is_running(shop: Shop) -> None:
    for spoilt in (None, b"{"):
        if spoilt is not None:
            (shop.state / "service.json").write_bytes(spoilt)
        with shop.held():
            state = shop_state.current_state(shop)
        assert state.running and state.pid == os.getpid()
        assert state.out_of_date == f"process {os.getpid()} has not written its state"


def test_what_an_earlier_service_wrote_is_out_of_date(shop: Shop) -> None:
    """The running service holds the lock and could not write: the shop's drops in work are looked for by status."""
    claimed(shop, "C", "van")
    shop_state.write_state(shop, ShopState(at=now(), running=True, pid=7, paused="no power", ready_total=12))
    with shop.held():
        state = shop_state.current_state(shop)
    assert state.out_of_date and state.out_of_date.startswith(f"process {os.getpid()} has not written its state; this")
    assert (state.pid, state.paused, state.ready_total) == (os.getpid(), None, 12)
    assert [(w.name, w.stage) for w in state.working] == [("van", "waiting")]


@pytest.mark.parametrize("at", ["2026-03-01T09:30:00+00:00", "2026-03-01T09:30:00", "yesterday"])
def test_what_a_service_wrote_long_ago_is_out_of_date(shop: Shop, at: str) -> None:
    shop_state.write_state(shop, ShopState(at=at, running=True, pid=os.getpid(), paused="the inbox is away"))
    with shop.held():
        state = shop_state.current_state(shop)
    assert state.out_of_date == f"process {os.getpid()} has not written its state since {at}"
    assert state.paused == "the inbox is away"


@pytest.mark.parametrize(
    ("seen", "fault"),
    [({"f_bavail": 15}, "No space left on device"), ({"f_flag": os.ST_RDONLY}, "Read-only file system")],
)
def test_status_looks_itself_whether_the_disk_is_full_or_read_only(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, seen: dict[str, int], fault: str
) -> None:
    """statvfs(3): blocks free for a user who is not root, and ST_RDONLY."""
    disk = {"f_flag": 0, "f_frsize": 4096, "f_bavail": 1000, "f_files": 0, "f_favail": 0} | seen
    monkeypatch.setattr(os, "statvfs", lambda folder: SimpleNamespace(**disk))
    with shop.held():
        state = shop_state.current_state(shop)
    assert state.paused and state.paused.startswith(f"{fault} ({shop.state})") and " -> " in state.paused


def test_drops_in_work_are_listed_where_no_service_runs(shop: Shop) -> None:
    """DEVELOPERS.md, what recovery finds: work/C/drop is a drop in work, with a readable claim.json or without."""
    claimed(shop, "C1", "van")
    claimed(shop, "C2", "bus")
    (shop.work / "C2" / "claim.json").write_text("{")
    (shop.work / "C3").mkdir()
    aside = {"name": "ferry", "place": "work/C4/drop", "what": "w", "mend": "m", "since": "", "times": 2}
    claimed(shop, "C4", "ferry")
    (shop.work / "C4" / "aside.json").write_text(json.dumps(aside | {"others_went": True}))
    state = shop_state.current_state(shop)
    told = [(w.name, w.since, w.progress()) for w in state.working]
    assert told == [("van", SINCE, "waiting"), ("C2", "", "waiting")]
    assert [drop.name for drop in state.aside] == ["ferry"]


def test_a_revision_that_was_being_built_when_the_service_was_killed_is_not_ready(shop: Shop, published: Path) -> None:
    shop.building.mkdir()
    shutil.copytree(published / "van-r1", shop.building / "20260301T093000-abc123-van-r2")
    assert [r.path for r in shop_state.current_state(shop).ready] == [f"{FERN}/van-r1", f"{FERN}/van-r2"]


def test_the_shops_own_rule_says_what_is_no_drop(shop: Shop) -> None:
    (shop.rules / "intake.toml").write_text('[names]\njunk = ["*.note"]\nsource = "the shop"\n')
    for name in ("a.note", "b.note", "van"):
        (shop.inbox / name).mkdir()
    assert [w.name for w in shop_state.current_state(shop).waiting] == ["van"]
    (shop.rules / "intake.toml").write_text("[names")
    assert len(shop_state.current_state(shop).waiting) == 3


def test_the_status_line(shop: Shop) -> None:
    state = ShopState(
        at="2026-03-01T09:30:00+00:00",
        running=True,
        waiting=(Waiting(name="a", files=1, since=""), Waiting(name="b", files=1, since="")),
        ready_total=3,
        refused_total=1,
    )
    assert shop_state.status_line(state) == "2 waiting, 3 ready, 1 refused"
    working = Working(name="van", stage="frames", done=12, total=48, since="")
    many = state.model_copy(update={"waiting_total": 1000})
    assert shop_state.status_line(many) == "1000 waiting, 3 ready, 1 refused"
    busy = state.model_copy(update={"working": (working,)})
    assert shop_state.status_line(busy) == "van: frames 12/48; 2 waiting, 3 ready, 1 refused"
    assert shop_state.status_line(busy.model_copy(update={"paused": "the disk is full"})) == "Paused: the disk is full"


def test_the_board_is_replaced_whole(shop: Shop) -> None:
    state = shop_state.current_state(shop)
    shop_state.write_board(shop, state)
    shop_state.write_board(shop, state)
    assert shop.board.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert [p.name for p in shop.outbox.iterdir()] == ["board.html"]
