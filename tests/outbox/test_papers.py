"""The shop's papers: numbers of revisions, sheets, and what the shop says of itself."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.outbox import papers
from keyturn.pipeline import Bench
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse
from keyturn.shop.records import Rejection, ShopState, Waiting, Working
from keyturn.shop.rulebook import Rulebook
from samples import Drop

FERN = "fern-hollow-mobile-library"


@pytest.fixture
def published(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """outbox/<customer> with two revisions of "van"."""
    root = drop(frames=2)
    for _ in range(2):
        make_by_hand.make(root, shop.outbox, bench)
    return shop.outbox / FERN


# -- revisions --------------------------------------------------------------------------------------


def test_a_file_in_a_customers_place_holds_no_revisions(shop: Shop) -> None:
    (shop.outbox / FERN).write_bytes(b"")
    assert list(papers.revisions(shop.outbox / FERN)) == []


def test_revisions_are_folders_with_a_record(published: Path) -> None:
    (published / "van-r3").mkdir()
    (published / "notes.txt").write_text("mine")
    (published / "other").mkdir()
    found = [(job, number, path.name) for job, number, path in papers.revisions(published)]
    assert found == [("van", 1, "van-r1"), ("van", 2, "van-r2")]
    assert list(papers.revisions(published / "gone")) == []


# -- records and sheets -----------------------------------------------------------------------------


@pytest.mark.parametrize("spoilt", [b"", b"{", b"[]", b"\xff\xfe", b'{"customer": "C"}', b"null"])
def test_a_spoilt_record_is_left_alone_and_the_sheet_is_made_of_the_others(
    published: Path, shop: Shop, rules: Rulebook, spoilt: bytes
) -> None:
    (published / "van-r2" / "job.json").write_bytes(spoilt)
    assert papers.read_job(published / "van-r2") is None
    sheet = papers.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None and "Fern Hollow Mobile Library" in sheet.read_text(encoding="utf-8")
    assert (published / "van-r2" / "job.json").read_bytes() == spoilt
    assert [job.revision for job in papers.current_state(shop).ready] == [1]


def test_a_record_of_a_later_keyturn_stays_readable(published: Path) -> None:
    path = published / "van-r1" / "job.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"colour_of_the_van": "green"}))
    record = papers.read_job(published / "van-r1")
    assert record is not None and record.revision == 1


def test_spoilt_pictures_do_not_spoil_the_sheet(published: Path, shop: Shop, rules: Rulebook) -> None:
    for revision in ("van-r1", "van-r2"):
        (published / revision / "proof.json").write_bytes(b"{")
    assert papers.read_proof(published / "van-r1").radios == ()
    assert papers.write_sheet(shop.outbox, FERN, rules) == published / "proof.html"


def test_without_readable_revisions_an_old_sheet_is_left(published: Path, shop: Shop, rules: Rulebook) -> None:
    for revision in ("van-r1", "van-r2"):
        (published / revision / "job.json").unlink()
    (published / "proof.html").write_text("old")
    assert papers.write_sheet(shop.outbox, FERN, rules) is None
    assert papers.write_sheet(shop.outbox, "nobody", rules) is None
    assert (published / "proof.html").read_text() == "old"


def copied(published: Path, name: str, number: int, made_at: str) -> None:
    """One more revision, by copying a real one."""
    shutil.copytree(published / "van-r1", published / f"{name}-r{number}")
    path = published / f"{name}-r{number}" / "job.json"
    record = json.loads(path.read_text()) | {"job": name, "revision": number, "made_at": made_at}
    path.write_text(json.dumps(record))


def test_a_sheet_of_a_customer_of_many_years_shows_the_newest_and_counts_the_rest(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    for number in range(papers.ON_SHEET + 8):
        copied(published, f"sign-{number:02d}", 1, f"2026-04-{number + 1:02d}T09:30:00+00:00")
    sheet = papers.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None
    page = sheet.read_text(encoding="utf-8")
    assert page.count('<article class="job"') == papers.ON_SHEET
    assert ">sign-27</bdi>" in page and ">sign-07</bdi>" not in page
    assert "leaves out 10 earlier revisions" in page


def test_what_changed_since_the_revision_before_is_told_however_old_that_is(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    for number in range(papers.ON_SHEET):
        copied(published, f"sign-{number:02d}", 1, f"2026-04-{number + 1:02d}T09:30:00+00:00")
    copied(published, "van", 3, "2026-05-01T09:30:00+00:00")
    sheet = papers.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None
    assert "What changed since revision 2" in sheet.read_text(encoding="utf-8")


def test_a_revision_put_in_the_outbox_by_hand_and_a_proof_taken_away_show_on_the_next_sheet(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    def page() -> str:
        sheet = papers.write_sheet(shop.outbox, FERN, rules)
        assert sheet is not None
        return sheet.read_text(encoding="utf-8")

    before = page()
    copied(published, "by-hand", 4, "2026-04-01T09:30:00+00:00")
    more = page()
    assert "by-hand" in more and "by-hand" not in before
    (published / "by-hand-r4" / "proof.json").unlink()
    assert page().count("data:image/webp") < more.count("data:image/webp")
    shutil.rmtree(published / "by-hand-r4")
    assert page() == before


def test_a_record_written_anew_in_its_place_shows_on_the_next_sheet(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    papers.write_sheet(shop.outbox, FERN, rules)
    path = published / "van-r2" / "job.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"artist": "Somebody Else"}))
    sheet = papers.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None and "Somebody Else" in sheet.read_text(encoding="utf-8")


def test_records_and_articles_are_made_once_while_their_files_stay_the_same(
    published: Path, shop: Shop, rules: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    papers.write_sheet(shop.outbox, FERN, rules)
    first = (published / "proof.html").read_bytes()

    def never(*args: object) -> None:
        raise AssertionError("made again")

    monkeypatch.setattr(papers, "_read", never)
    monkeypatch.setattr("keyturn.pages.sheet.fragment", never)
    papers.write_sheet(shop.outbox, FERN, rules)
    assert (published / "proof.html").read_bytes() == first


def test_there_is_no_record_where_there_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    for place in (tmp_path, tmp_path / "gone", tmp_path / "file"):
        assert papers.read_job(place) is None
        assert papers.read_rejection(place) is None
        assert papers.read_proof(place).radios == ()


# -- what the shop says of itself -------------------------------------------------------------------


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


def test_where_none_runs_the_folders_say_how_it_stands(shop: Shop, published: Path, drop: Drop) -> None:
    drop("waiting", frames=4).rename(shop.inbox / "waiting")
    (shop.inbox / "alone.zip").write_bytes(b"zip")
    (shop.inbox / ".hidden").mkdir()
    (shop.rejects / "ferry").mkdir()
    (shop.rejects / "ferry" / "REJECTED.json").write_text(rejection().model_dump_json())
    (shop.rejects / "just-a-folder").mkdir()
    state = papers.current_state(shop)
    assert not state.running
    assert [(w.name, w.files) for w in state.waiting] == [("alone.zip", 1), ("waiting", 5)]
    assert [(r.path, r.revision) for r in state.ready] == [(f"{FERN}/van-r1", 1), (f"{FERN}/van-r2", 2)]
    assert state.ready[0].radios == ("tiny",)
    assert [(r.name, r.reasons[0].code) for r in state.refused] == [("ferry", "frames-doubled")]
    assert (state.ready_total, state.refused_total) == (2, 1)


def test_the_word_of_a_service_counts_only_while_it_runs(shop: Shop) -> None:
    said = ShopState(at="2026-03-01T09:30:00+00:00", running=True, pid=7, ready_total=12)
    papers.write_state(shop, said)
    assert papers.current_state(shop).ready_total == 0
    with shop.held():
        assert papers.current_state(shop) == said
    assert not papers.current_state(shop).running


def test_a_running_service_that_has_not_spoken_yet_is_running(shop: Shop) -> None:
    for spoilt in (None, b"{"):
        if spoilt is not None:
            (shop.state / "service.json").write_bytes(spoilt)
        with shop.held():
            state = papers.current_state(shop)
        assert state.running and state.pid is None


def test_the_status_line(shop: Shop) -> None:
    state = ShopState(
        at="2026-03-01T09:30:00+00:00",
        running=True,
        waiting=(Waiting(name="a", files=1, since=""), Waiting(name="b", files=1, since="")),
        ready_total=3,
        refused_total=1,
    )
    assert papers.status_line(state) == "2 waiting, 3 ready, 1 refused"
    working = Working(name="van", stage="frames", done=12, total=48, since="")
    many = state.model_copy(update={"waiting_total": 1000})
    assert papers.status_line(many) == "1000 waiting, 3 ready, 1 refused"
    busy = state.model_copy(update={"working": (working,)})
    assert papers.status_line(busy) == "van: frames 12/48; 2 waiting, 3 ready, 1 refused"
    assert papers.status_line(busy.model_copy(update={"paused": "the disk is full"})) == "Paused: the disk is full"


def test_the_board_is_replaced_whole(shop: Shop) -> None:
    state = papers.current_state(shop)
    papers.write_board(shop, state)
    papers.write_board(shop, state)
    assert shop.board.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert [p.name for p in shop.outbox.iterdir()] == ["board.html"]
