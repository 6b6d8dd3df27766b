"""What becomes of a claimed drop: one outcome each, and its files in one place."""

from __future__ import annotations

import errno
import json
import os
import shutil
import tarfile
import threading
from collections.abc import Callable
from concurrent.futures import CancelledError
from dataclasses import replace
from pathlib import Path

import pytest

from keyturn import pipeline
from keyturn.inbox.doubts import Doubts
from keyturn.inbox.survey import snapshot
from keyturn.outbox import shop_state
from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import Bench
from keyturn.service import drop_maker
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_folders import DropFolders
from keyturn.service.drop_maker import DropMaker
from keyturn.shop.file_digests import FileDigests
from keyturn.shop.folders import Shop
from keyturn.shop.papers import Letterhead
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import REASONS_SHOWN, Kind
from keyturn.shop.records import Rejection
from samples import Drop
from slow_crew import slow_bench

BAD = 'customer = "Fern Hollow Mobile Library"\nradio = "tinny"\n'


@pytest.fixture
def maker(shop: Shop, bench: Bench) -> DropMaker:
    folders = DropFolders(shop, bench.now)
    return DropMaker(folders, Bookkeeping(shop, Ledger.opened(shop.state / "ledger.sqlite3")[0], bench.rules), bench)


@pytest.fixture
def claimed(shop: Shop, drop: Drop, maker: DropMaker) -> Callable[..., Claim]:
    """claimed(manifest=...): a drop taken from the inbox."""

    def claim(**options: object) -> Claim:
        shutil.copytree(drop(**options), shop.inbox / "van")
        return maker.folders.claim("van", snapshot(shop.inbox / "van"))

    return claim


def places(shop: Shop) -> set[str]:
    """Return the top folders of the shop that hold the artist's job.toml."""
    return {path.relative_to(shop.root).parts[0] for path in shop.root.rglob("job.toml")}


def rejection(shop: Shop) -> Rejection:
    return Rejection.model_validate_json((shop.rejects / "van" / "REJECTED.json").read_text(encoding="utf-8"))


def test_a_sound_drop_is_published_archived_and_entered(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    told: list[str] = []
    maker = replace(maker, told=lambda event, record: told.append(event))
    assert maker.process(claimed()) is Outcome.READY
    assert places(shop) == {"archive"}
    assert [ready.path for ready in maker.books.ledger.ready()] == ["fern-hollow-mobile-library/van-r1"]
    assert (shop.outbox / "fern-hollow-mobile-library" / "proof.html").exists()
    assert told == ["ready"]


def test_a_thread_reads_the_drops_files_for_their_digests(
    maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch
) -> None:
    real, read = FileDigests.of, set[tuple[str, str]]()

    def of(digests: FileDigests, path: Path) -> bytes:
        read.add((threading.current_thread().name, path.name))
        return real(digests, path)

    monkeypatch.setattr(FileDigests, "of", of)
    assert maker.process(claimed()) is Outcome.READY
    assert ("digests ahead", "job.toml") in read


def test_a_drop_that_is_one_packed_tar_is_published_under_its_name(shop: Shop, drop: Drop, maker: DropMaker) -> None:
    with tarfile.open(shop.inbox / "van.tar.gz", "w:gz") as archive:
        archive.add(drop(), "van")
    claim = maker.folders.claim("van.tar.gz", snapshot(shop.inbox / "van.tar.gz"))
    assert maker.process(claim) is Outcome.READY
    assert any(path.parent.name == "van-r1" for path in shop.outbox.rglob("job.json"))


def test_a_refused_drop_says_whose_it_is_and_shows_the_picture(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    claim = claimed()
    twin = maker.folders.drop_of(claim) / "lamps" / "2.png"
    shutil.copy(twin.with_name("0003.png"), twin)
    assert maker.process(claim) is Outcome.REFUSED
    found = rejection(shop)
    assert places(shop) == {"rejects"} and found.customer == "Fern Hollow Mobile Library"
    assert "frames-doubled" in {reason.code for reason in found.reasons}
    assert found.pictures and all(uri.startswith("data:image/webp") for uri in found.pictures.values())


def test_a_manifest_that_is_wrong_everywhere_gives_a_page_that_can_be_read(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    wrong = "".join(f"key{n} = 1\n" for n in range(1000))
    assert maker.process(claimed(manifest=wrong)) is Outcome.REFUSED
    assert len(rejection(shop).reasons) == REASONS_SHOWN + 1
    assert (shop.rejects / "van" / "REJECTED.html").stat().st_size < 500_000


def test_a_drop_whose_time_is_up_is_rejected_without_pictures(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    slow = replace(maker, bench=slow_bench(maker.bench, drop_seconds=100, job_seconds=30))
    assert slow.process(claimed(frames=9)) is Outcome.REFUSED
    found = rejection(shop)
    assert [(r.code, r.file) for r in found.reasons if r.kind is Kind.REFUSE] == [
        ("drop-takes-too-long", "lamps/0001.png")
    ]
    assert found.pictures == {} and found.customer == "Fern Hollow Mobile Library"


def refused_names(maker: DropMaker) -> list[str]:
    return sorted(drop.name for drop in maker.books.ledger.refused())


def copied_back(shop: Shop, maker: DropMaker, name: str, *, mended: bool) -> Claim:
    """A copy of rejects/<name> taken from the inbox."""
    copy = shop.inbox / name
    shutil.copytree(shop.rejects / name, copy)
    if mended:
        (copy / "job.toml").write_text('customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n')
    return maker.folders.claim(name, snapshot(copy))


def test_a_mended_copy_of_a_refused_drop_clears_it_once_it_is_published(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    """The second copy is mended after the first was refused as well: it clears both."""
    maker.process(claimed(manifest=BAD))
    assert maker.process(copied_back(shop, maker, "van", mended=False)) is Outcome.REFUSED
    assert refused_names(maker) == ["van", "van-2"]
    assert maker.process(copied_back(shop, maker, "van-2", mended=True)) is Outcome.READY
    assert refused_names(maker) == []
    for name in ("van", "van-2"):
        assert "outbox/fern-hollow-mobile-library/van-2-r1" in (shop.rejects / name / "MENDED.txt").read_text()
        assert (shop.rejects / name / "job.toml").read_text() == BAD, "the artist's files stay"
    maker.books.reconcile()
    assert refused_names(maker) == [] and shop_state.current_state(shop).refused == ()
    (archived,) = shop.archive.glob("*/*")
    assert not list(archived.glob("*.txt"))


def test_a_copy_that_was_cleared_and_comes_back_to_be_refused_again_is_listed_again(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    maker.process(claimed(manifest=BAD))
    maker.process(copied_back(shop, maker, "van", mended=True))
    (shop.rejects / "van").rename(shop.inbox / "van")
    assert maker.process(maker.folders.claim("van", snapshot(shop.inbox / "van"))) is Outcome.REFUSED
    assert refused_names(maker) == ["van"]
    assert not (shop.rejects / "van" / "MENDED.txt").exists()


def test_a_folder_in_place_of_the_mark_hides_nothing_and_stops_nothing(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    claim = claimed(manifest=BAD)
    (maker.folders.drop_of(claim) / "MENDED.txt").mkdir()
    assert maker.process(claim) is Outcome.REFUSED
    copy = copied_back(shop, maker, "van", mended=True)
    (maker.folders.drop_of(copy) / "MENDED.txt").rmdir()
    assert maker.process(copy) is Outcome.READY
    maker.books.reconcile()
    assert refused_names(maker) == ["van"], "it cannot be marked, so it stays listed"
    assert [drop.name for drop in shop_state.current_state(shop).refused] == ["van"]


def test_a_kill_before_the_books_are_kept_leaves_the_clearing_to_the_next_start(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch
) -> None:
    maker.process(claimed(manifest=BAD))
    monkeypatch.setattr(Bookkeeping, "enter_ready", lambda *entry: None)
    maker.process(copied_back(shop, maker, "van", mended=True))
    assert refused_names(maker) == ["van"]
    maker.books.reconcile()
    assert refused_names(maker) == []


def test_the_manifest_is_read_once(
    maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[Path] = []
    real = pipeline.reading.read_leniently
    monkeypatch.setattr(
        pipeline.reading, "read_leniently", lambda root, **more: (read.append(root), real(root, **more))[1]
    )
    assert maker.process(claimed(manifest=BAD)) is Outcome.REFUSED
    assert len(read) == 1


@pytest.mark.parametrize("manifest", [BAD, 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n'])
def test_a_drop_that_changed_while_it_was_made_settles_anew(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch, manifest: str
) -> None:
    """Whether it could be made or not, what was made or said is about files that are no longer the artist's."""
    claim = claimed(manifest=manifest)
    real = pipeline.opened

    def opened(drop: Path, *rest: object) -> pipeline.OpenedDrop:
        (drop / "late.txt").write_text("late")
        return real(drop, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(pipeline, "opened", opened)
    assert maker.process(claim) is Outcome.RETURNED
    assert places(shop) == {"inbox"} and not list(shop.work.iterdir())
    assert not list(shop.building.glob("*"))


@pytest.mark.parametrize("manifest", [BAD, 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n'])
def test_a_drop_that_is_open_for_writing_when_it_is_made_settles_anew(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], manifest: str
) -> None:
    claim = claimed(manifest=manifest)
    with (maker.folders.drop_of(claim) / "lamps" / "0001.png").open("r+b"):
        assert maker.process(claim) is Outcome.RETURNED
    assert places(shop) == {"inbox"} and not list(shop.work.iterdir())


@pytest.mark.parametrize("size", [0, 60])
def test_a_drop_cut_short_goes_back_as_often_as_doubt_allows_and_is_refused_when_it_stays_so(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], size: int
) -> None:
    maker = replace(maker, doubts=Doubts((60, 300)))
    claim = claimed()
    cut = maker.folders.drop_of(claim) / "lamps" / "0002.png"
    os.truncate(cut, size)
    for _ in range(2):
        assert maker.process(claim) is Outcome.RETURNED
        assert places(shop) == {"inbox"} and not list(shop.work.iterdir())
        claim = maker.folders.claim("van", snapshot(shop.inbox / "van"))
    assert maker.process(claim) is Outcome.REFUSED
    assert refused_names(maker) == ["van"] and places(shop) == {"rejects"}


def test_a_drop_cut_short_whose_rest_comes_is_made(shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]) -> None:
    maker = replace(maker, doubts=Doubts((60, 300)))
    claim = claimed()
    whole = (maker.folders.drop_of(claim) / "lamps" / "0002.png").read_bytes()
    os.truncate(maker.folders.drop_of(claim) / "lamps" / "0002.png", 60)
    assert maker.process(claim) is Outcome.RETURNED
    (shop.inbox / "van" / "lamps" / "0002.png").write_bytes(whole)
    assert maker.process(maker.folders.claim("van", snapshot(shop.inbox / "van"))) is Outcome.READY


def test_a_drop_with_a_gap_whose_files_are_new_is_left_alone_before_it_is_made(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    maker = replace(maker, doubts=Doubts((60,)))
    claim = claimed()
    (maker.folders.drop_of(claim) / "lamps" / "0003.png").unlink()
    assert maker.process(claim) is Outcome.RETURNED
    assert maker.process(maker.folders.claim("van", snapshot(shop.inbox / "van"))) is Outcome.READY


def test_work_that_is_stopped_leaves_the_drop_in_work_and_does_not_count(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    claim = claimed()
    stopping = replace(maker, bench=replace(maker.bench, progress=Progress(stop=lambda: True)))
    assert stopping.process(claim) is Outcome.STOPPED
    assert places(shop) == {"work"}
    assert not list(shop.building.iterdir())
    assert json.loads((shop.work / claim.id / "claim.json").read_text())["tries"] == 0


def test_a_bug_of_ours_is_tried_once_more_and_then_told(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch
) -> None:
    tries: list[object] = []

    def bug(*args: object) -> None:
        tries.append(args)
        raise ZeroDivisionError("in a stage")

    monkeypatch.setattr(pipeline, "make", bug)
    assert maker.process(claimed()) is Outcome.REFUSED
    assert len(tries) == 2
    assert [reason.code for reason in rejection(shop).reasons] == ["keyturn-bug"]
    assert rejection(shop).customer == "Fern Hollow Mobile Library"


def test_a_fault_of_the_machine_is_raised_and_loses_nothing(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(pipeline, "make", full)
    with pytest.raises(OSError, match="No space"):
        maker.process(claimed())
    assert places(shop) == {"work"} and not list(shop.building.iterdir())


def test_a_drop_that_had_gone_on_already_is_only_reconciled(
    maker: DropMaker, claimed: Callable[..., Claim], shop: Shop
) -> None:
    claim = claimed()
    assert maker.process(claim) is Outcome.READY
    missed: list[bool] = []
    assert replace(maker, missed=lambda: missed.append(True)).process(claim) is Outcome.FINISHED
    assert missed == [True] and len(list(shop.outbox.glob("*/van-r*"))) == 1


def test_a_sheet_that_cannot_be_written_does_not_make_the_drop_again(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("keyturn.outbox.sheets.write_sheet", full)
    missed: list[bool] = []
    assert replace(maker, missed=lambda: missed.append(True)).process(claimed()) is Outcome.READY
    assert missed == [True] and places(shop) == {"archive"}


@pytest.mark.parametrize("failures", [1, 2, 3])
def test_a_bug_while_a_drop_is_refused_is_tried_once_more_and_costs_the_drop_nothing(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch, failures: int
) -> None:
    """After the first bug the drop is refused for its own fault, after the second for the bug; beyond, it stays."""
    real, bugs = drop_maker.rejected_pages, iter([True] * failures)

    def fails_at_first(found: Rejection, *more: Letterhead) -> dict[str, str]:
        if next(bugs, False):
            raise ZeroDivisionError("a bug")
        return real(found, *more)

    monkeypatch.setattr(drop_maker, "rejected_pages", fails_at_first)
    claim = claimed(manifest=BAD)
    if failures == 3:
        with pytest.raises(ZeroDivisionError):
            maker.process(claim)
        assert places(shop) == {"work"}
        return
    assert maker.process(claim) is Outcome.REFUSED
    assert places(shop) == {"rejects"}
    codes = {reason.code for reason in rejection(shop).reasons}
    assert codes == {"keyturn-bug"} if failures == 2 else "keyturn-bug" not in codes


def test_a_bug_after_a_drop_was_refused_does_not_refuse_it_again(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim]
) -> None:
    def fails(event: str, record: object) -> None:
        raise ZeroDivisionError("a bug")

    claim = claimed(manifest=BAD)
    with pytest.raises(ZeroDivisionError):
        replace(maker, told=fails).process(claim)
    assert [path.name for path in shop.rejects.iterdir()] == ["van"]
    assert maker.process(claim) is Outcome.FINISHED


def test_a_stop_while_a_drop_is_refused_leaves_it_in_work(
    shop: Shop, maker: DropMaker, claimed: Callable[..., Claim], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A crew that was closed raises CancelledError: here, while the small pictures of the rejects page are made."""

    def closed(*given: object) -> dict[str, str]:
        raise CancelledError

    monkeypatch.setattr(pipeline, "refused_pictures", closed)
    assert maker.process(claimed(manifest=BAD)) is Outcome.STOPPED
    assert places(shop) == {"work"} and list(shop.rejects.iterdir()) == []
