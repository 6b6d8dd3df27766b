"""Slips survive what mail programs do to a line. Source: RFC 4648 section 5 (base64url), Python's own email package
for quoted-printable text, RFC 3676 for quoting."""

from __future__ import annotations

import base64
import json
from email.message import EmailMessage
from email.policy import SMTP

import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.shop import slips
from keyturn.shop.slips import Slip, SlipError

YES = Slip(
    kind="answer",
    id="0f8a7c52-1b",
    customer="Fern Hollow Mobile Library",
    job="van-two",
    revision=2,
    path="fern-hollow-mobile-library/van-two-r2",
    digest="ab" * 32,
    at="2026-03-01T09:30:00+00:00",
    by="Marta Lindqvist",
    note="Bitte so. ¿Más? 好",
    answer="yes",
)


def test_a_slip_is_read_again_from_its_line() -> None:
    line = slips.as_line(YES)
    assert line.isascii() and " " not in line
    assert slips.found_in(f"She said:\n{line}\nand rang off.".encode()) == YES


def test_its_line_is_base64url_of_json() -> None:
    packed = slips.as_line(YES).removeprefix("[keyturn-slip:").removesuffix("]")
    data = json.loads(base64.urlsafe_b64decode(packed + "=" * (-len(packed) % 4)))
    assert data["customer"] == "Fern Hollow Mobile Library" and data["answer"] == "yes"


@pytest.mark.parametrize("coding", ["7bit", "quoted-printable"])
@pytest.mark.parametrize("wide", [40, 72, 998])
@pytest.mark.parametrize("quote", ["", "> ", "> > "])
def test_a_slip_survives_a_mail_that_breaks_and_quotes_it(coding: str, wide: int, quote: str) -> None:
    line = slips.as_line(YES)
    broken = "\n".join(quote + line[at : at + wide] for at in range(0, len(line), wide))
    mail = EmailMessage(policy=SMTP)
    mail["Subject"] = "Yes"
    mail.set_content(f"Hello,\n\n{broken}\n\n-- \nMarta\n", cte=coding)
    assert slips.found_in(mail.as_bytes()) == YES


@pytest.mark.parametrize("name", ["Märta", "好"])
def test_a_slip_survives_a_mail_that_packs_its_parts(name: str) -> None:
    mail = EmailMessage(policy=SMTP)
    mail["Subject"] = name
    mail.set_content(f"{name}\n{slips.as_line(YES)}\n", cte="base64")
    mail.add_attachment(b"\x89PNG\0", maintype="image", subtype="png")
    assert b"keyturn-slip" not in mail.as_bytes() and slips.is_in(mail.as_bytes())
    assert slips.found_in(mail.as_bytes()) == YES


def test_many_headers_may_follow_the_one_that_says_so() -> None:
    headers = "".join(f"X-Passed-{n}: yes\r\n" for n in range(300))
    packed = base64.encodebytes(slips.as_line(YES).encode()).decode()
    mail = f"Subject: yes\r\nContent-Transfer-Encoding: BASE64\r\n{headers}\r\n{packed}"
    assert slips.found_in(mail.encode()) == YES


def test_a_file_attached_to_a_mail_is_read() -> None:
    mail = EmailMessage(policy=SMTP)
    mail.set_content("Here it is.")
    mail.add_attachment(slips.as_line(YES).encode(), maintype="application", subtype="octet-stream", filename="a.txt")
    assert slips.found_in(mail.as_bytes()) == YES


def test_parts_in_parts_in_parts_do_no_harm() -> None:
    deep = "".join(f"Content-Type: multipart/mixed; boundary=b{n}\n\n--b{n}\n" for n in range(4000))
    assert slips.found_in(f"Content-Transfer-Encoding: base64\n{deep}".encode()) is None


@given(st.text(max_size=300), st.text(max_size=60))
def test_any_words_survive(note: str, by: str) -> None:
    slip = YES.model_copy(update={"note": note, "by": by})
    if not (note + by).isprintable() and any(0xD800 <= ord(c) <= 0xDFFF for c in note + by):
        return  # half a surrogate pair is no text (RFC 3629)
    assert slips.found_in(slips.as_line(slip).encode()) == slip


def test_other_text_holds_none() -> None:
    assert slips.found_in(b"customer = 'Fern Hollow'\n") is None
    assert slips.found_in(b"") is None


@pytest.mark.parametrize("cut", [20, 60, 200])
def test_a_line_that_breaks_off_is_told_from_no_line(cut: int) -> None:
    with pytest.raises(SlipError, match="breaks off"):
        slips.found_in(slips.as_line(YES)[:cut].encode())


def test_a_line_with_a_piece_missing_is_spoilt() -> None:
    line = slips.as_line(YES)
    with pytest.raises(SlipError):
        slips.found_in((line[:40] + line[43:]).encode())


def test_the_whole_one_counts_beside_a_broken_one() -> None:
    line = slips.as_line(YES)
    assert slips.found_in(f"{line[:50]}\n\nagain: {line}".encode()) == YES


@pytest.mark.parametrize(
    "wrong",
    [
        {"path": "../van-two-r2"},
        {"path": "fern/../../etc"},
        {"path": ".hidden/van-r1"},
        {"digest": "ab"},
        {"revision": 0},
        {"answer": None},
        {"answer": "perhaps"},
        {"kind": "copied"},
        {"boot_s": -1.0},
        {"note": "x" * 2001},
    ],
)
def test_a_slip_with_a_wrong_value_names_it(wrong: dict[str, object]) -> None:
    data = json.dumps({**YES.model_dump(), **wrong}).encode()
    line = b"[keyturn-slip:" + base64.urlsafe_b64encode(data).rstrip(b"=") + b"]"
    with pytest.raises(SlipError):
        slips.found_in(line)
