"""Slips: what people say about a revision once it is made. The customer answered; it was shown, copied or fitted.

A slip is one line of text, `[keyturn-slip:...]`, with base64url (RFC 4648, section 5) of a small JSON object between.
It may stand anywhere in a text, and mail programs may break and quote the line, as they do with long ones. It is a
record, not a signature: whoever can put a file in the inbox can write one.
"""

from __future__ import annotations

import base64
import binascii
import codecs
import re
from collections.abc import Iterator
from contextlib import suppress
from typing import Annotated, Literal

from pydantic import Field, ValidationError, model_validator

from keyturn.shop.bounded_record import Record, parsed

SLIP_MOST_BYTES = 256 * 2**10
"""A larger file holds no slip. A saved mail is about 10 KiB."""

BEGIN = "[keyturn-slip:"
_BETWEEN = rb"(?:[A-Za-z0-9_-]|=?\r?\n[> \t]*|[ \t])*"
"""A line may be broken with `=` before the break (RFC 2045, section 6.7), and be quoted with `>` (RFC 3676)."""

_SLIP = re.compile(re.escape(BEGIN.encode()) + b"(" + _BETWEEN + rb")(\]?)")
_PACKED = re.compile(rb"^content-transfer-encoding:[ \t]*base64[ \t]*(?=\r?\n)", re.IGNORECASE | re.MULTILINE)
_EMPTY_LINE = re.compile(rb"\r?\n\r?\n")
_PACKED_LINES = re.compile(rb"(?:[A-Za-z0-9+/=]+\r?\n?)+")
_BREAK = re.compile(rb"=?\r?\n[> \t]*|[ \t]")

Kind = Literal["shown", "answer", "copied", "fitted"]
WORDS_MOST = 200
"""Longest name or other short text, in characters."""

NOTE_MOST = 2000
Text = Annotated[str, Field(max_length=WORDS_MOST)]


class Mark(Record):
    """A place on a picture that the customer means: shares of width and height, 0 to 1, from the upper left corner.

    `picture` is the picture's number on the sheet.
    """

    radio: Text
    x: Annotated[float, Field(ge=0, le=1)]
    y: Annotated[float, Field(ge=0, le=1)]
    picture: Annotated[int, Field(ge=0, le=10_000_000)] | None = None


class Slip(Record):
    """One thing that became of one revision. `path` is the revision's in the outbox, `digest` the SHA-256 of its
    job.json: what was shown is exactly that. `id` tells a slip that comes twice from two that say the same.

    `at` is ISO 8601, and "" in a mail that was ready beforehand. An answer is "yes" or "change" with a note and marks.
    `radio`, `stick`, `stick_id` (by which another stick is told from it) and `verified` (it was read back and compared)
    go with "copied", `boot_s`, seconds until the home screen, with "fitted", `vehicle` with both.
    """

    kind: Kind
    id: Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{8,64}$")]
    customer: Text
    job: Text
    revision: Annotated[int, Field(ge=1)]
    path: Annotated[str, Field(pattern=r"^[^/.\x00][^/\x00]*/[^/.\x00][^/\x00]*$", max_length=520)]
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    at: Annotated[str, Field(max_length=40)]
    by: Text = ""
    note: Annotated[str, Field(max_length=NOTE_MOST)] = ""
    answer: Literal["yes", "change"] | None = None
    marks: Annotated[tuple[Mark, ...], Field(max_length=20)] = ()
    radio: Text = ""
    stick: Text = ""
    stick_id: Text = ""
    verified: bool = False
    vehicle: Text = ""
    boot_s: Annotated[float, Field(gt=0, lt=600)] | None = None

    @model_validator(mode="after")
    def _says_what_its_kind_asks(self) -> Slip:
        if (self.kind == "answer") != (self.answer is not None):
            raise ValueError("an answer, and nothing else, says yes or change")
        return self


class SlipError(ValueError):
    """A text has the beginning of a slip, and what follows cannot be read."""


def as_line(slip: Slip) -> str:
    """Return the slip as one line of ASCII text without spaces."""
    data = slip.model_dump_json(exclude_defaults=True).encode("utf-8")
    return f"{BEGIN}{base64.urlsafe_b64encode(data).decode('ascii').rstrip('=')}]"


def is_in(text: bytes) -> bool:
    """Tell whether the text holds a slip, or the beginning of one. A file with a zero byte is a picture, not a text."""
    return any(BEGIN.encode() in each for each in _texts(text))


def found_in(text: bytes) -> Slip | None:
    """Return the slip in a text, or in a saved mail; None where it holds none.

    A mail that quotes the line it answers holds the same slip twice. Of several different ones the first counts.
    Raise `SlipError` where none of those it holds can be read.
    """
    why = ""
    for each in _texts(text[:SLIP_MOST_BYTES]):
        for found in _SLIP.finditer(each):
            try:
                return _decoded(found)
            except ValidationError as error:
                first = error.errors()[0]
                why = why or f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
            except ValueError as error:
                why = why or str(error)
    if why:
        raise SlipError(why)
    return None


def _texts(data: bytes) -> Iterator[bytes]:
    """Yield the text, in an encoding that keeps ASCII, and what a mail packs as base64 (RFC 2045, section 6.8)."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        data = data.decode("utf-16", "replace").encode("utf-8")
    if b"\0" in data:
        return
    yield data
    yield from _unpacked(data)


def _unpacked(mail: bytes) -> Iterator[bytes]:
    """Yield what the parts of a mail pack. Python's own reader of mails follows parts in parts as deep as they go."""
    begins = 0
    for header in _PACKED.finditer(mail):
        if header.start() < begins:
            continue
        if (empty_line := _EMPTY_LINE.search(mail, header.end())) is None:
            return
        begins = empty_line.end()
        if lines := _PACKED_LINES.match(mail, begins):
            with suppress(binascii.Error):
                yield binascii.a2b_base64(lines[0])


def _decoded(found: re.Match[bytes]) -> Slip:
    if not found[2]:
        raise ValueError("the line breaks off before its end")
    packed = _BREAK.sub(b"", found[1])
    try:
        data = base64.urlsafe_b64decode(packed + b"=" * (-len(packed) % 4))
    except binascii.Error:
        raise ValueError("a piece of the line is missing") from None
    return parsed(data, Slip)
