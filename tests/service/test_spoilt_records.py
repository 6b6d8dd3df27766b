"""Anything may lie in outbox and rejects under a record's name: it costs its own line, never the service.

What is spoilt is left alone and logged; the other revisions and refused drops are shown, entered and printed.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from keyturn.commands import make_by_hand
from keyturn.outbox import shop_state
from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import Bench
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse
from keyturn.shop.records import Rejection
from samples import Drop, Run

FERN = "fern-hollow-mobile-library"

Spoil = Callable[[Path], None]


def key(*steps: str | int, to: object) -> Spoil:
    """Replace one value of the record."""

    def spoil(path: Path) -> None:
        record = json.loads(path.read_bytes())
        place: Any = record
        for step in steps[:-1]:
            place = place[step]
        place[steps[-1]] = to
        path.write_text(json.dumps(record), encoding="utf-8")

    return spoil


def text(data: bytes) -> Spoil:
    return lambda path: path.write_bytes(data) and None


def replaced(by: Callable[[Path], object]) -> Spoil:
    def spoil(path: Path) -> None:
        path.unlink()
        by(path)

    return spoil


def digits(path: Path) -> None:
    """A whole number of 5,000 digits, which Python does not print (sys.set_int_max_str_digits)."""
    key("radios", 0, "zip_bytes", to=123456789)(path)
    path.write_bytes(path.read_bytes().replace(b"123456789", b"9" * 5000))


ANY = {
    "empty": text(b""),
    "null": text(b"null"),
    "a list": text(b"[]"),
    "a number": text(b"7"),
    "text": text(b'"record"'),
    "cut off": lambda path: path.write_bytes(path.read_bytes()[:200]) and None,
    "no UTF-8": text(b"\xff\xfe{\x00}\x00"),
    "zero bytes": text(b"\0" * 4096),
    "deeply nested": text(b"[" * 100_000),
    "deeply nested objects": text(b'{"a":' * 100_000),
    "a lone surrogate": key("keyturn", to="\ud800"),
    "a folder": replaced(lambda path: path.mkdir()),
    "a fifo": replaced(os.mkfifo),
    "a link to nowhere": replaced(lambda path: path.symlink_to("nowhere")),
    "a link to a device": replaced(lambda path: path.symlink_to("/dev/zero")),
    "a link to itself": replaced(lambda path: path.symlink_to(path.name)),
}
JOB = ANY | {
    "a number of 19 digits": key("revision", to=10**19),
    "a number below 0": key("revision", to=-(10**30)),
    "a number of 5,000 digits": digits,
    "a true number": key("revision", to=True),
    "a time that is none": key("made_at", to="yesterday"),
    "a time without a zone": key("made_at", to="2026-03-01T10:00:00"),
    "a time in the year 0": key("made_at", to="0000-00-00"),
    "a number for a name": key("customer", to=7),
    "no radios": key("radios", to=[]),
    "radios that are none": key("radios", to=[None]),
    "radios by name": key("radios", to={"tiny": 1}),
    "a radio of another name": key("radios", 0, "radio", to="ghost"),
    "no parts": key("radios", 0, "parts", to=[]),
    "more parts than are drawn": key("radios", 0, "parts", to=[dict.fromkeys("ab")]),
    "frames without end": key("radios", 0, "parts", 0, "frames", to=10**18),
    "a share that is no number": key("radios", 0, "timeline", "share_finished", to=float("nan")),
    "a boot without end": key("radios", 0, "timeline", "boot_longest_s", to=float("inf")),
    "nothing allowed": key("radios", 0, "memory", "allowed_mib", to=0),
    "an interval of nought": key("radios", 0, "timeline", "interval_s", to=0),
    "a panel of nought": key("radios", 0, "width", to=0),
    "a folder that leads elsewhere": key("radios", 0, "folder", to="../../../etc"),
    "a very long name": key("job", to="x" * 2_000_000),
}
PROOF = ANY | {
    "pictures of no number": key("radios", 0, "order", to=[[999, -999], [0]]),
    "fewer parts": key("radios", 0, "order", to=[]),
    "no radios": key("radios", to=[]),
    "no frames": key("radios", 0, "frames", to=[]),
    "a script for a picture": key("radios", 0, "logo", to="javascript:alert(1)"),
    "changes of nan": key("radios", 0, "changes", to=[[float("nan")] * 9]),
}


@pytest.fixture
def books(shop: Shop, bench: Bench) -> Bookkeeping:
    return Bookkeeping(shop, Ledger.opened(shop.state / "ledger.sqlite3")[0], bench.rules)


@pytest.fixture
def two(shop: Shop, drop: Drop, bench: Bench) -> tuple[Path, Path]:
    """Two revisions of one customer that the ledger has not heard of."""
    made = [make_by_hand.make(drop(name), shop.outbox, bench).folder for name in ("van-one", "van-two")]
    first, second = (folder for folder in made if folder is not None)
    return first, second


def look_everywhere(shop: Shop, books: Bookkeeping, run: Run) -> None:
    """Everything that reads records: the books, the board, status, doctor, copy and the clearing of old drops."""
    books.reconcile()
    shop_state.write_board(shop, shop_state.current_state(shop))
    for command in (("status",), ("status", "--json"), ("copy", "van-two", "--list")):
        assert run(*command, "--root", shop.root) in (0, 1, 2), command


@pytest.mark.parametrize("kind", JOB)
def test_a_spoilt_record_of_a_revision_costs_that_revision_its_line(
    shop: Shop, books: Bookkeeping, two: tuple[Path, Path], run: Run, kind: str
) -> None:
    spoilt, sound = two
    JOB[kind](spoilt / "job.json")
    look_everywhere(shop, books, run)
    assert f"{FERN}/{sound.name}" in [found.path for found in books.ledger.ready()]
    assert sound.name.removesuffix("-r1") in (shop.outbox / FERN / "proof.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", PROOF)
def test_spoilt_pictures_of_a_revision_cost_it_its_pictures(
    shop: Shop, books: Bookkeeping, two: tuple[Path, Path], run: Run, kind: str
) -> None:
    spoilt, sound = two
    PROOF[kind](spoilt / "proof.json")
    look_everywhere(shop, books, run)
    assert len(books.ledger.ready()) == 2
    assert sound.name.removesuffix("-r1") in (shop.outbox / FERN / "proof.html").read_text(encoding="utf-8")


REJECTION = ANY | {
    "a time that is none": key("rejected_at", to="soon"),
    "a time without a zone": key("rejected_at", to="2026-03-01T10:00:00"),
    "no reasons": key("reasons", to=None),
    "a reason of another kind": key("reasons", 0, "kind", to="shrug"),
    "a claim that is a list": key("claim", to=["c"]),
    "pictures that are a list": key("pictures", to=[1]),
    "a drop of a number": key("drop", to=5),
}


@pytest.mark.parametrize("kind", REJECTION)
def test_a_spoilt_record_of_a_refused_drop_costs_that_drop_its_line(
    shop: Shop, books: Bookkeeping, bench: Bench, run: Run, kind: str
) -> None:
    reason = refuse("no-art", "the drop holds no pictures", "add numbered pictures")
    for name in ("spoilt", "sound"):
        (shop.rejects / name).mkdir()
        at = "2026-03-01T10:00:00+00:00"
        record = Rejection(keyturn="0", drop=name, claim=name, customer=None, rejected_at=at, reasons=(reason,))
        (shop.rejects / name / "REJECTED.json").write_text(record.model_dump_json(), encoding="utf-8")
    REJECTION[kind](shop.rejects / "spoilt" / "REJECTED.json")
    look_everywhere(shop, books, run)
    assert "rejects/sound" in [found.path for found in books.ledger.refused()]


def test_a_revision_number_of_240_digits_is_no_revision(shop: Shop, drop: Drop, bench: Bench) -> None:
    """A name has at most 255 bytes (NAME_MAX, limits.h), so the number after it could not be written."""
    first = make_by_hand.make(drop("van"), shop.outbox, bench).folder
    assert first is not None
    shutil.copytree(first, first.parent / f"van-r{'9' * 240}")
    shutil.copytree(first, first.parent / "van-r999999999")
    again = make_by_hand.make(drop("van-b", manifest=MANIFEST), shop.outbox, bench).folder
    assert again is not None and again.name == "van-r2"


MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\njob = "van"\n'
