"""What the sheet asks, and how it shows an answer. Mail links are taken apart by urllib (RFC 6068, RFC 3986)."""

from __future__ import annotations

import html
import json
import re
from types import ModuleType
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

import pytest

from keyturn.pages.answer import LONGEST_URL, Told, asked
from keyturn.pages.sheet import Beside, sheet
from keyturn.shop import slips
from keyturn.shop.papers import Letterhead, Papers
from keyturn.shop.records import JobRecord
from keyturn.shop.slips import Mark, Slip
from page_text import text_of

DIGEST = "ab" * 32
PATH = "fern-hollow-mobile-library/van-two-r2"


def told(record: JobRecord, *answers: Slip) -> Told:
    return Told(PATH.replace("r2", f"r{record.revision}"), DIGEST, answers)


def answer_to(record: JobRecord, **more: Any) -> Slip:
    known = {
        "kind": "answer",
        "id": "0f8a7c52-1b",
        "customer": record.customer,
        "job": record.job,
        "revision": record.revision,
        "path": told(record).path,
        "digest": DIGEST,
        "at": "2026-03-01T09:30:00+00:00",
        "by": "Marta Lindqvist",
        "answer": "yes",
    }
    return Slip.model_validate(known | more)


def page_of(made: ModuleType, *answers: Slip, revisions: int = 1, mail: str = "") -> str:
    records = [made.job(revision=n, made_at=f"2026-03-0{n}T09:30:00+00:00") for n in range(1, revisions + 1)]
    by_revision = {n: [a for a in answers if a.revision == n] for n in range(1, revisions + 1)}
    beside = Beside(told=lambda record: told(record, *by_revision[record.revision]))
    papers = Papers(Letterhead("Keys & Looms", mail=mail))
    page = sheet(records[0].customer, [(r, made.proof(r)) for r in records], (), beside=beside, papers=papers)
    assert isinstance(page, str)
    return page


def tables(page: str) -> list[dict[str, Any]]:
    found = re.findall(r'data-answer hidden>\s*<script type="application/json">(.*?)</script>', page, re.DOTALL)
    return [json.loads(text) for text in found]


@pytest.mark.parametrize("answer", ["yes", "change"])
@pytest.mark.parametrize("mail", ["looms@example.org", ""])
def test_without_a_script_a_link_opens_a_mail_with_the_answer(by_hand: ModuleType, answer: str, mail: str) -> None:
    record = by_hand.job(revision=2)
    link = asked(record, told(record), "j1", mail).plain[answer]
    parts = urlsplit(link)
    assert parts.scheme == "mailto" and unquote(parts.path) == mail and len(link) <= LONGEST_URL
    fields = parse_qs(parts.query, strict_parsing=True)
    assert record.job in fields["subject"][0] and "revision 2" in fields["subject"][0]
    found = slips.found_in(fields["body"][0].encode())
    assert found is not None and (found.answer, found.digest, found.path) == (answer, DIGEST, told(record).path)


def test_the_ready_mails_of_one_revision_always_hold_the_same_slip(by_hand: ModuleType) -> None:
    first, other = by_hand.job(revision=2), by_hand.job(revision=3)
    links = [asked(r, told(r), "j1", "").plain["yes"] for r in (first, first, other)]
    assert links[0] == links[1] != links[2]


def test_a_name_that_fills_the_link_leaves_a_link_that_mail_programs_take(by_hand: ModuleType) -> None:
    record = by_hand.job(job="好" * 500, customer=by_hand.HOSTILE)
    question = asked(record, told(record), "j1", "looms@example.org")
    assert all(
        len(link) <= LONGEST_URL and urlsplit(link).path == "looms@example.org" for link in question.plain.values()
    )
    assert re.fullmatch(r"answer-[\w-]{1,60}-r1\.txt", question.table["file"])


def test_the_page_asks_with_what_identifies_the_revision(by_hand: ModuleType) -> None:
    page = page_of(by_hand, mail="looms@example.org")
    (table,) = tables(page)
    assert table["slip"]["digest"] == DIGEST and table["slip"]["path"] == told(by_hand.job()).path
    assert table["to"] == "mailto:looms@example.org" and set(table["radios"].values()) == {"tall-768x1024"}
    assert "not a signature" in text_of(page) and "Signature" in text_of(page)


def test_only_the_newest_revision_asks_and_older_ones_say_what_was_answered(by_hand: ModuleType) -> None:
    old = answer_to(by_hand.job(), answer="change", note="The lamps rise <too> late.\nPlease sooner.")
    page = page_of(by_hand, old, revisions=2)
    (table,) = tables(page)
    assert table["slip"]["revision"] == 2
    text = text_of(page)
    assert "Marta Lindqvist asked for a change on 1 March 2026:" in text and "The lamps rise <too> late." in text
    assert "said yes" not in text


def test_the_last_answer_stands_in_the_customers_part(by_hand: ModuleType) -> None:
    record = by_hand.job()
    page = page_of(by_hand, answer_to(record, answer="change", id="slip-0001"), answer_to(record, id="slip-0002"))
    customers = page[: page.index('<details class="panel workshop"')]
    assert "Marta Lindqvist said yes on 1 March 2026." in text_of(customers)
    assert "asked for a change on" not in text_of(page)


def test_an_answer_without_a_name_is_the_customers(by_hand: ModuleType) -> None:
    page = page_of(by_hand, answer_to(by_hand.job(), by="", answer="change"))
    assert "The customer asked for a change on 1 March 2026:" in text_of(page)


def test_marks_are_shown_on_the_picture_they_were_put_on(by_hand: ModuleType) -> None:
    marks = tuple(Mark(radio="tall-768x1024", x=0.25, y=y, picture=n) for y, n in ((0.5, 7), (0.75, 7), (0.1, 0)))
    page = page_of(by_hand, answer_to(by_hand.job(), answer="change", marks=marks))
    start = page.index('class="marked"')
    marked = page[start : page.index("</div>", start)]
    assert len(re.findall("<svg", marked)) == 2
    on_seven = marked[marked.index('p7"') :]
    assert re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', on_seven) == [("192.0", "512.0"), ("192.0", "768.0")]
    assert re.findall(r">(\d)</text>", on_seven) == ["1", "2"]


def test_a_mark_on_a_picture_that_is_not_there_is_left_out(by_hand: ModuleType) -> None:
    marks = (Mark(radio="another", x=0.2, y=0.5, picture=7), Mark(radio="tall-768x1024", x=0.2, y=0.5))
    assert 'class="marked"' not in page_of(by_hand, answer_to(by_hand.job(), answer="change", marks=marks))


def test_names_are_escaped(by_hand: ModuleType) -> None:
    record = by_hand.job()
    page = page_of(by_hand, answer_to(record, by="<b>Marta</b>", answer="change", note="<script>x</script>"))
    assert html.escape("<b>Marta</b>") in page and "<script>x" not in page
