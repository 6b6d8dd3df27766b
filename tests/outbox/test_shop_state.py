"""The shop's state is what the running service wrote, or what the folders show where none runs."""

from __future__ import annotations

from pathlib import Path

from keyturn.outbox import shop_state
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse
from keyturn.shop.records import Rejection
from keyturn.shop.state_records import ShopState, Waiting, Working
from samples import Drop

FERN = "fern-hollow-mobile-library"


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
    said = ShopState(at="2026-03-01T09:30:00+00:00", running=True, pid=7, ready_total=12)
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
        assert state.running and state.pid is None


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
