"""A customer's sheet shows the newest revisions as they lie in the outbox now."""

from __future__ import annotations

import errno
import json
import os
import shutil
from pathlib import Path

import pytest

from keyturn.outbox import record_files, sheets, shop_state
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from keyturn.shop.papers import Letterhead, Papers
from keyturn.shop.rulebook import Rulebook

FERN = "fern-hollow-mobile-library"


@pytest.mark.parametrize("spoilt", [b"", b"{", b"[]", b"\xff\xfe", b'{"customer": "C"}', b"null"])
def test_a_spoilt_record_is_left_alone_and_the_sheet_is_made_of_the_others(
    published: Path, shop: Shop, rules: Rulebook, spoilt: bytes
) -> None:
    (published / "van-r2" / "job.json").write_bytes(spoilt)
    assert record_files.read_job(published / "van-r2") is None
    sheet = sheets.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None and "Fern Hollow Mobile Library" in sheet.read_text(encoding="utf-8")
    assert (published / "van-r2" / "job.json").read_bytes() == spoilt
    assert [job.revision for job in shop_state.current_state(shop).ready] == [1]


def test_spoilt_pictures_do_not_spoil_the_sheet(published: Path, shop: Shop, rules: Rulebook) -> None:
    for revision in ("van-r1", "van-r2"):
        (published / revision / "proof.json").write_bytes(b"{")
    assert record_files.read_proof(published / "van-r1").radios == ()
    assert sheets.write_sheet(shop.outbox, FERN, rules) == published / "proof.html"


@pytest.mark.parametrize("name", ["job.json", "proof.json", "player.json"])
def test_a_disk_that_fails_is_no_spoilt_record(
    published: Path, shop: Shop, rules: Rulebook, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """EIO (read(2)) is the shop's fault: whoever asked for the sheet pauses and asks again."""
    real = durable_files.read_plain

    def failing(path: Path, most: int) -> bytes | None:
        if path.name == name:
            raise OSError(errno.EIO, os.strerror(errno.EIO), str(path))
        return real(path, most)

    record_files._remembered.cache_clear()
    monkeypatch.setattr(durable_files, "read_plain", failing)
    with pytest.raises(OSError, match="Input/output error"):
        sheets.write_sheet(shop.outbox, FERN, rules)


def test_without_readable_revisions_an_old_sheet_is_left(published: Path, shop: Shop, rules: Rulebook) -> None:
    for revision in ("van-r1", "van-r2"):
        (published / revision / "job.json").unlink()
    (published / "proof.html").write_text("old")
    assert sheets.write_sheet(shop.outbox, FERN, rules) is None
    assert sheets.write_sheet(shop.outbox, "nobody", rules) is None
    assert (published / "proof.html").read_text() == "old"


def copied(published: Path, name: str, number: int, made_at: str) -> None:
    """Add a revision of the job `name` by copying a real one."""
    shutil.copytree(published / "van-r1", published / f"{name}-r{number}")
    path = published / f"{name}-r{number}" / "job.json"
    record = json.loads(path.read_text()) | {"job": name, "revision": number, "made_at": made_at}
    path.write_text(json.dumps(record))


def test_a_sheet_shows_the_newest_twenty_revisions_and_counts_the_rest(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    for number in range(sheets.ON_SHEET + 8):
        copied(published, f"sign-{number:02d}", 1, f"2026-04-{number + 1:02d}T09:30:00+00:00")
    sheet = sheets.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None
    page = sheet.read_text(encoding="utf-8")
    assert page.count('<article class="job"') == sheets.ON_SHEET
    assert ">sign-27</bdi>" in page and ">sign-07</bdi>" not in page
    assert "leaves out 10 earlier revisions" in page


def test_the_sheet_says_what_changed_since_the_revision_before_however_old_that_is(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    for number in range(sheets.ON_SHEET):
        copied(published, f"sign-{number:02d}", 1, f"2026-04-{number + 1:02d}T09:30:00+00:00")
    copied(published, "van", 3, "2026-05-01T09:30:00+00:00")
    sheet = sheets.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None
    assert "What changed since revision 2" in sheet.read_text(encoding="utf-8")


def test_a_revision_put_in_the_outbox_by_hand_and_a_proof_taken_away_show_on_the_next_sheet(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    def page() -> str:
        sheet = sheets.write_sheet(shop.outbox, FERN, rules)
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
    sheets.write_sheet(shop.outbox, FERN, rules)
    path = published / "van-r2" / "job.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"artist": "Somebody Else"}))
    sheet = sheets.write_sheet(shop.outbox, FERN, rules)
    assert sheet is not None and "Somebody Else" in sheet.read_text(encoding="utf-8")


def test_records_and_articles_are_made_once_while_their_files_stay_the_same(
    published: Path, shop: Shop, rules: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheets.write_sheet(shop.outbox, FERN, rules)
    first = (published / "proof.html").read_bytes()

    def never(*args: object) -> None:
        raise AssertionError("made again")

    monkeypatch.setattr(record_files, "readable_record", never)
    monkeypatch.setattr("keyturn.pages.sheet.fragment", never)
    sheets.write_sheet(shop.outbox, FERN, rules)
    assert (published / "proof.html").read_bytes() == first


def in_language(published: Path, code: object) -> None:
    for path in published.glob("van-r*/job.json"):
        path.write_text(json.dumps(json.loads(path.read_text()) | {"language": code}))


def test_a_sheet_that_is_written_anew_keeps_the_language_of_its_job(
    published: Path, shop: Shop, rules: Rulebook
) -> None:
    in_language(published, "pl")
    german = Papers(Letterhead("Lantern Row Radio", language="de"))
    for papers in (None, german):
        sheet = sheets.write_sheet(shop.outbox, FERN, rules, papers)
        assert sheet is not None
        assert '<html lang="pl">' in sheet.read_text(encoding="utf-8")


@pytest.mark.parametrize("code", [None, "tlh", "../de", ""])
def test_a_record_without_a_language_that_is_known_gives_a_sheet_all_the_same(
    published: Path, shop: Shop, rules: Rulebook, code: object
) -> None:
    """Records of before name none; a newer Keyturn's may name one that is not here."""
    in_language(published, code)
    if code is None:
        for path in published.glob("van-r*/job.json"):
            record = json.loads(path.read_text())
            del record["language"]
            path.write_text(json.dumps(record))
    sheet = sheets.write_sheet(shop.outbox, FERN, rules, Papers(Letterhead(language="en")))
    assert sheet is not None
    assert '<html lang="en">' in sheet.read_text(encoding="utf-8")


def test_the_same_records_are_drawn_in_each_language(published: Path, shop: Shop, rules: Rulebook) -> None:
    """Pieces of a sheet are kept by their records: a kept piece of another language may not stand in for it."""
    for code, words in (("en", "What you will see"), ("de", "Was Sie sehen werden"), ("en", "What you will see")):
        sheet = sheets.write_sheet(shop.outbox, FERN, rules, Papers(Letterhead(language=code)))
        assert sheet is not None
        assert words in sheet.read_text(encoding="utf-8")
