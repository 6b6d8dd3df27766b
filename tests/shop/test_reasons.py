"""Reasons, the two exceptions, and which errors of the system are the shop's fault."""

from __future__ import annotations

import copy
import errno
import json
import os
import pickle
from pathlib import Path

import pytest
from pydantic import ValidationError

from keyturn.shop.reasons import (
    Exhibit,
    Kind,
    Reason,
    Refused,
    ShopFault,
    first_of,
    gathered,
    mended,
    note,
    only,
    refuse,
    shop_fault,
    stop_if_refused,
)

DOUBLED = refuse("frames-doubled", "frame 12 is there twice", "take one of them out", file="lamps/0012.png")
KEY = refuse("key-unknown", 'no key is called "custmer"', 'did you mean "customer"?', file="job.toml", field="custmer")
JUNK = mended("junk-skipped", "2 files were skipped")
SMALL = note("enlarged", "the logo was enlarged 1.5 times", file="logo.png")


@pytest.mark.parametrize(
    ("reason", "line"),
    [
        (DOUBLED, "lamps/0012.png: frame 12 is there twice -> take one of them out"),
        (KEY, 'job.toml [custmer]: no key is called "custmer" -> did you mean "customer"?'),
        (JUNK, "2 files were skipped"),
        (SMALL, "logo.png: the logo was enlarged 1.5 times"),
        (refuse("a", "is missing", "save these:\na = 1\nb = 2"), "is missing -> save these: a = 1 / b = 2"),
    ],
)
def test_a_reason_is_one_line_with_its_place_and_its_remedy(reason: Reason, line: str) -> None:
    assert reason.line() == line


@pytest.mark.parametrize("code", ["", "Frames", "frames_doubled", "-frames", "frames-", "2-frames", "frames--doubled"])
def test_a_code_is_small_letters_and_digits_with_single_hyphens(code: str) -> None:
    with pytest.raises(ValidationError, match="code"):
        refuse(code, "what", "mend")


def test_a_name_that_is_not_utf_8_can_be_written_as_json() -> None:
    # PEP 383: Python holds the undecodable byte 0xff of a file's name as U+DCFF, which UTF-8 has no form for
    name = os.fsdecode(b"lamp\xff.png")
    reason = refuse("name-odd", f"{name} is not text", "rename it", file=name)
    assert reason.file == "lamp\\udcff.png"
    assert json.loads(reason.model_dump_json())["what"] == "lamp\\udcff.png is not text"


def test_reasons_come_back_from_json_as_they_were() -> None:
    for reason in (DOUBLED, KEY, JUNK, SMALL):
        assert Reason.model_validate_json(reason.model_dump_json()) == reason


def test_reasons_that_differ_only_in_their_file_are_told_once() -> None:
    frames = [note("profile", "its colours were converted", file=f"{n:04}.png") for n in range(48)]
    one, other = gathered([*frames, JUNK])
    assert (one.file, one.what) == ("0000.png", "its colours were converted (and 47 more like it)")
    assert other == JUNK


def test_the_same_reason_twice_is_one() -> None:
    assert gathered([DOUBLED, KEY, DOUBLED]) == (DOUBLED, KEY)


def test_only_keeps_the_order() -> None:
    assert only([KEY, JUNK, DOUBLED, SMALL], Kind.REFUSE) == (KEY, DOUBLED)


def test_a_drop_stops_where_one_reason_refuses_and_all_are_told() -> None:
    stop_if_refused([JUNK, SMALL])
    with pytest.raises(Refused) as caught:
        stop_if_refused(r for r in (JUNK, DOUBLED))
    assert caught.value.reasons == (JUNK, DOUBLED)
    assert str(caught.value) == DOUBLED.line()


@pytest.mark.parametrize("protocol", range(2, pickle.HIGHEST_PROTOCOL + 1))
def test_a_refusal_crosses_between_processes_with_all_it_knows(protocol: int) -> None:
    """Workers are other processes and answer by pickle."""
    sent = Refused([DOUBLED, JUNK], customer="Fern Hollow Mobile Library", root=Path("work/1/van-two"))
    for came in (pickle.loads(pickle.dumps(sent, protocol)), copy.copy(sent)):
        assert (type(came), came.reasons, str(came)) == (Refused, sent.reasons, str(sent))
        assert (came.customer, came.root) == ("Fern Hollow Mobile Library", Path("work/1/van-two"))


def test_what_is_not_known_of_a_refused_drop_is_none() -> None:
    came = pickle.loads(pickle.dumps(Refused([DOUBLED])))
    assert (came.customer, came.root) == (None, None)


def test_what_is_learnt_later_goes_along_too() -> None:
    refused = Refused([DOUBLED])
    refused.customer = "Fern Hollow Mobile Library"
    assert pickle.loads(pickle.dumps(refused)).customer == "Fern Hollow Mobile Library"


def test_a_fault_of_the_shop_crosses_between_processes() -> None:
    came = pickle.loads(pickle.dumps(ShopFault("the disk is full", "free some space")))
    assert (came.what, came.mend, str(came)) == (
        "the disk is full",
        "free some space",
        "the disk is full -> free some space",
    )


@pytest.mark.parametrize(
    ("code", "remedy"),
    [
        (errno.ENOSPC, "free some space"),
        (errno.EDQUOT, "quota"),
        (errno.EROFS, "mount the file system writable"),
        (errno.EACCES, "the right to read and write"),
        (errno.EMFILE, "LimitNOFILE"),
        (errno.ESTALE, "mount the network share again"),
    ],
)
def test_an_error_of_the_machine_has_a_remedy(code: int, remedy: str) -> None:
    fault = shop_fault(OSError(code, os.strerror(code), "/srv/keyturn/outbox"))
    assert fault is not None
    assert fault.what == f"{os.strerror(code)} (/srv/keyturn/outbox)"
    assert remedy in fault.mend


@pytest.mark.parametrize(
    "error", [OSError("no number"), FileNotFoundError(errno.ENOENT, "gone"), OSError(errno.ELOOP, "")]
)
def test_other_errors_are_not_the_shops(error: OSError) -> None:
    assert shop_fault(error) is None


def test_of_very_many_reasons_the_refusals_come_first_and_the_rest_is_counted() -> None:
    notes = [note("b", f"note {n}") for n in range(30)]
    refusals = [refuse("a", f"refusal {n}", "mend it") for n in range(3)]
    assert first_of([*notes, *refusals], 33) == (*notes, *refusals)
    *shown, more = first_of([*notes, *refusals], 5)
    assert shown == [*refusals, *notes[:2]] and "28 more" in more.what


def test_a_reason_of_an_older_record_shows_nothing_and_one_with_pictures_keeps_what_older_readers_know() -> None:
    old = json.loads('{"code": "odd", "kind": "note", "file": "a.png", "field": null, "what": "w", "mend": "m"}')
    assert Reason.model_validate(old).exhibits == ()
    shown = Exhibit(name="a.png", kept=(0.25, 0, 0.75, 1), marked=(0, 0, 0.5, 0.5))
    new = note("odd", "w", "m", file="a.png", exhibits=(shown,))
    written = json.loads(new.model_dump_json())
    assert {key: written[key] for key in old} == old
    assert Reason.model_validate_json(json.dumps(written)) == new
