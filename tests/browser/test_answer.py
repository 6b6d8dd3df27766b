"""A customer answers on the sheet: by file, by mail, by the line, with marks, by keyboard, without a script."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

import pytest

from keyturn.outbox import revision_life
from keyturn.pages.answer import LONGEST_URL, Told
from keyturn.pages.sheet import Beside, sheet
from keyturn.shop import slips
from keyturn.shop.folders import Shop
from keyturn.shop.papers import Letterhead, Papers
from keyturn.shop.slips import Slip
from samples import Drop, Run
from shop_runs import lay, rejected, revisions, run_until_quiet

pytestmark = pytest.mark.browser

Open = Callable[..., Any]
PHONE = {"width": 390, "height": 844}
MAIL = "looms@example.org"
WORDS = "Später, bitte. أبطأ قليلاً. もう少しゆっくり。 \U0001f69a"


def page_of(made: ModuleType, answer: Slip | None = None) -> tuple[str, str]:
    """Return a sheet, and the digest of the job.json that it shows."""
    job = made.job()
    digest = hashlib.sha256(job.model_dump_json(indent=2).encode()).hexdigest()
    told = Told("fern-hollow-mobile-library/van-two-r1", digest, (answer,) if answer else ())
    papers = Papers(Letterhead("Keys & Looms", mail=MAIL))
    page = sheet(job.customer, [(job, made.proof(job))], (), beside=Beside(told=lambda record: told), papers=papers)
    return page, digest


def read(line: str) -> Slip:
    found = slips.found_in(line.encode())
    assert found is not None
    return found


def overflow(page: Any) -> int:
    width: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return width


def test_a_yes_is_saved_as_a_file_that_the_shop_reads(opened: Open, by_hand: ModuleType, tmp_path: Path) -> None:
    html, digest = page_of(by_hand)
    page = opened(html, **PHONE, accept_downloads=True).page
    page.get_by_label("Your name").fill("Märta Lindqvist")
    page.get_by_role("button", name="Yes, make it so").click()
    with page.expect_download() as download:
        page.get_by_text("Save the answer as a file").click()
    assert download.value.suggested_filename == "answer-van-two-r1.txt"
    download.value.save_as(tmp_path / "answer.txt")
    text = (tmp_path / "answer.txt").read_bytes()
    slip = slips.found_in(text)
    assert slip is not None and (slip.answer, slip.by, slip.digest) == ("yes", "Märta Lindqvist", digest)
    assert slip.path == "fern-hollow-mobile-library/van-two-r1" and slip.note == "" and slip.marks == ()
    assert text.decode().startswith("Märta Lindqvist says yes to van-two, revision 1.\n")
    assert read(page.locator("[data-line]").input_value()) == slip
    assert overflow(page) <= 0


def test_a_change_with_a_note_in_any_script_is_in_the_ready_mail(opened: Open, by_hand: ModuleType) -> None:
    page = opened(page_of(by_hand)[0], **PHONE).page
    page.get_by_label("Your name").fill("Marta & Co + 1")
    page.get_by_label("What is to be changed").fill(WORDS)
    page.get_by_role("button", name="Please change").click()
    link = page.locator("[data-mail]").get_attribute("href")
    parts = urlsplit(link)
    fields = parse_qs(parts.query, strict_parsing=True)
    assert parts.scheme == "mailto" and unquote(parts.path) == MAIL and len(link) <= LONGEST_URL
    assert fields["subject"] == ["Please change: van-two, revision 1"]
    slip = read(fields["body"][0])
    assert (slip.answer, slip.note, slip.by) == ("change", WORDS, "Marta & Co + 1")
    assert WORDS in fields["body"][0] and slip == read(page.locator("[data-line]").input_value())


def test_an_answer_too_long_for_a_link_is_to_be_attached(opened: Open, by_hand: ModuleType) -> None:
    page = opened(page_of(by_hand)[0], **PHONE).page
    page.get_by_label("Your name").fill("Marta Lindqvist")
    page.get_by_label("What is to be changed").fill("好" * 2000)
    page.get_by_role("button", name="Please change").click()
    link = page.locator("[data-mail]").get_attribute("href")
    assert len(link) <= LONGEST_URL and slips.found_in(unquote(link).encode()) is None
    assert page.get_by_text("too long for a ready mail").is_visible()
    assert read(page.locator("[data-line]").input_value()).note == "好" * 2000


def test_half_a_letter_does_not_spoil_the_line(opened: Open, by_hand: ModuleType) -> None:
    """Half a surrogate pair is not Unicode text (RFC 3629, section 3)."""
    page = opened(page_of(by_hand)[0], **PHONE).page
    page.locator("[data-by]").evaluate("(field) => { field.value = 'Marta \\ud83d'; }")
    page.get_by_role("button", name="Yes, make it so").click()
    assert read(page.locator("[data-line]").input_value()).by == "Marta \ufffd"


def test_two_answers_have_ids_of_their_own(opened: Open, by_hand: ModuleType) -> None:
    page = opened(page_of(by_hand)[0], **PHONE).page
    page.get_by_label("Your name").fill("Marta")
    ids = set()
    for _ in range(2):
        page.get_by_role("button", name="Yes, make it so").click()
        ids.add(read(page.locator("[data-line]").input_value()).id)
    assert len(ids) == 2


def test_without_a_name_or_a_wish_nothing_is_made(opened: Open, by_hand: ModuleType) -> None:
    page = opened(page_of(by_hand)[0], **PHONE).page
    page.get_by_role("button", name="Yes, make it so").click()
    assert not page.locator("[data-result]").is_visible()
    page.get_by_label("Your name").fill("Marta")
    page.get_by_role("button", name="Please change").click()
    assert not page.locator("[data-result]").is_visible()
    page.get_by_role("button", name="Yes, make it so").click()
    assert page.locator("[data-result]").is_visible()


def test_a_tap_on_the_picture_puts_a_mark_and_another_takes_it_away(opened: Open, by_hand: ModuleType) -> None:
    page = opened(page_of(by_hand)[0], **PHONE, has_touch=True).page
    page.get_by_role("button", name="Mark places on the picture").tap()
    layer = page.locator(".marks")
    layer.scroll_into_view_if_needed()
    size = layer.bounding_box()
    for x, y in ((0.25, 0.5), (0.75, 0.25), (0.5, 0.75)):
        layer.tap(position={"x": x * size["width"], "y": y * size["height"]})
    page.get_by_role("button", name="Mark 2: take it away").tap()
    page.get_by_label("Your name").fill("Marta")
    page.get_by_role("button", name="Please change").tap()
    marks = read(page.locator("[data-line]").input_value()).marks
    wanted = [(0.25, 0.5), (0.5, 0.75)]
    assert [(mark.x, mark.y) for mark in marks] == [pytest.approx(place, abs=0.02) for place in wanted]
    assert {(mark.radio, mark.picture) for mark in marks} == {("tall-768x1024", 0)}


def test_the_keyboard_alone_marks_and_answers(opened: Open, by_hand: ModuleType) -> None:
    page = opened(page_of(by_hand)[0], **PHONE).page
    page.get_by_role("button", name="Mark places on the picture").focus()
    page.keyboard.press("Enter")
    page.locator(".marks").focus()
    for key in ("ArrowRight", "ArrowDown", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    page.get_by_label("Your name").focus()
    page.keyboard.type("Marta")
    page.keyboard.press("Tab")
    page.keyboard.type("Here")
    for _ in range(8):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.hasAttribute('data-change')"):
            break
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.hasAttribute('data-head')")
    slip = read(page.locator("[data-line]").input_value())
    assert slip.note == "Here" and [(mark.x, mark.y) for mark in slip.marks] == [(0.525, 0.55)]


def test_without_a_script_two_links_open_a_ready_mail(opened: Open, by_hand: ModuleType) -> None:
    html, digest = page_of(by_hand)
    page = opened(html, **PHONE, java_script_enabled=False).page
    yes = page.get_by_role("link", name="Yes, make it so")
    assert yes.is_visible() and not page.locator("[data-answer]").is_visible()
    assert read(unquote(yes.get_attribute("href"))).digest == digest


def test_on_paper_there_are_lines_to_sign_and_nothing_to_press(opened: Open, by_hand: ModuleType) -> None:
    page = opened(page_of(by_hand)[0], width=700).page
    assert not page.get_by_text("Signature", exact=True).is_visible()
    page.emulate_media(media="print")
    assert page.get_by_text("Signature", exact=True).is_visible()
    assert not page.locator("[data-answer]").is_visible()


@pytest.mark.parametrize("width", [320, 360])
def test_the_answer_fits_a_narrow_phone(opened: Open, by_hand: ModuleType, width: int) -> None:
    page = opened(page_of(by_hand)[0], width=width).page
    page.get_by_label("Your name").fill("M" * 200)
    page.get_by_label("What is to be changed").fill("W" * 300)
    page.get_by_role("button", name="Please change").click()
    assert overflow(page) <= 0


def test_the_whole_way_from_the_sheet_to_the_stick(
    opened: Open, shop: Shop, drop: Drop, run: Run, tmp_path: Path
) -> None:
    """A job is made, the customer answers on a phone, the file goes to the inbox, and the stick is made."""
    (shop.root / "keyturn.toml").write_text("[settle]\nseconds = 0.05\n[approval]\nrequired = true\n")
    lay(drop(frames=2), shop, "van")
    run_until_quiet(shop)
    (revision,) = revisions(shop)
    stick = tmp_path / "stick"
    stick.mkdir()
    copy = ("copy", "van", stick, "--any-folder", "--root", shop.root)
    assert run(*copy) == 1
    sheet_file = (shop.outbox / revision).with_name("proof.html")
    page = opened(sheet_file.read_text(encoding="utf-8"), **PHONE, accept_downloads=True).page
    page.get_by_label("Your name").fill("Marta Lindqvist")
    page.get_by_role("button", name="Yes, make it so").click()
    with page.expect_download() as download:
        page.get_by_text("Save the answer as a file").click()
    download.value.save_as(shop.inbox / download.value.suggested_filename)
    run_until_quiet(shop)
    assert revision_life.read(shop.outbox / revision).approved and not rejected(shop)
    page = opened(sheet_file.read_text(encoding="utf-8"), **PHONE).page
    assert page.get_by_text("Marta Lindqvist said yes on").is_visible()
    assert run(*copy) == 0 and (stick / "bootanimation.zip").is_file()
