"""What messages say: short, with the reasons, each name on its line."""

from __future__ import annotations

import pytest

import page_records
from keyturn.service import message_texts
from keyturn.service.message_texts import LONGEST_LINE, MOST_LINES, MOST_REASONS, Message, of_outcome
from keyturn.shop.reasons import mended, refuse
from keyturn.shop.slips import Slip

SLIP = Slip(
    kind="answer",
    id="0123456789ab",
    customer="Fern Hollow",
    job="van-two",
    revision=2,
    path="fern-hollow/van-two-r2",
    digest="0" * 64,
    at="2026-03-01T09:30:00+00:00",
    by="Ines",
    note="a warmer\nlamp",
    answer="change",
)


def ready(*reasons: object) -> Message:
    record = page_records.job(reasons=reasons).model_dump(mode="json")
    return of_outcome("ready", {"path": "outbox/c/van-two-r1", "job": record})


def refused(*reasons: object, drop: str = "van") -> Message:
    record = page_records.rejection(drop=drop, reasons=reasons).model_dump(mode="json", exclude={"pictures"})
    return of_outcome("refused", {"path": f"rejects/{drop}", "rejection": record})


def test_of_a_ready_drop_it_says_whose_it_is_where_it_lies_and_what_was_mended() -> None:
    message = ready(mended("turned", "was turned upright", file="a.png"))
    assert message.title == "Ready: van-two, revision 1, for Fern Hollow Mobile Library"
    assert message.lines[0] == "a.png: was turned upright"
    assert message.lines[-1] == "outbox/c/van-two-r1"


def test_of_a_refused_drop_it_gives_each_reason_once_with_its_way_out() -> None:
    wrong = refuse("number-twice", "is number 12 too", "remove one\nthis line is for the page", file="a.png")
    message = refused(wrong, wrong, mended("turned", "was turned upright", file="a.png"))
    assert message.title == "Refused: van, for Fern Hollow Mobile Library"
    assert message.lines == ("a.png: is number 12 too -> remove one", "rejects/van")


def test_of_many_reasons_it_gives_the_first_and_how_many_there_are_besides() -> None:
    message = refused(*(refuse("odd", f"fault {n}", "mend it", field="fps") for n in range(12)))
    assert message.lines[:MOST_REASONS] == tuple(f"[fps]: fault {n} -> mend it" for n in range(MOST_REASONS))
    assert message.lines[MOST_REASONS:] == ("and 7 more", "rejects/van")


@pytest.mark.parametrize(("answer", "title"), [("yes", "Yes"), ("change", "Please change")])
def test_of_an_answer_it_says_what_who_and_about_which_revision(answer: str, title: str) -> None:
    slip = SLIP.model_copy(update={"answer": answer}).model_dump(mode="json")
    message = of_outcome("answered", {"path": "outbox/fern-hollow/van-two-r2", "slip": slip})
    assert message.title == f"{title}: van-two, revision 2, for Fern Hollow"
    assert message.lines == ("a warmer", "lamp", "by Ines", "outbox/fern-hollow/van-two-r2")


def test_a_name_cannot_add_lines_or_turn_the_text_and_none_is_endless() -> None:
    message = refused(refuse("odd", "x" * 5000, "y"), drop="van\nReady: all\u202e")
    assert message.title == "Refused: van\ufffdReady: all\ufffd, for Fern Hollow Mobile Library"
    assert max(map(len, message.lines)) == LONGEST_LINE


def test_of_a_pause_it_says_why_and_that_nothing_is_lost() -> None:
    message = message_texts.of_pause("No space left on device -> free some")
    assert message.lines[0] == "No space left on device -> free some"
    assert "safe" in message.body


def test_a_digest_has_a_line_for_each_with_the_first_reason_of_what_was_refused() -> None:
    wrong = refuse("odd", "is damaged", "copy it again", file="a.png")
    digest = message_texts.digest([refused(wrong, drop=f"van-{n}") for n in range(MOST_LINES + 5)])
    assert digest.title == f"{MOST_LINES + 5} drops were refused"
    assert digest.lines[0] == "Refused: van-0, for Fern Hollow Mobile Library: a.png: is damaged -> copy it again"
    assert digest.lines[MOST_LINES:] == ("and 5 more",)
    ready_ones = message_texts.digest([Message("ready", "Ready: a", ("x",)), Message("ready", "Ready: b", ())])
    assert ready_ones.lines == ("Ready: a", "Ready: b")
