"""The customer's answer: what the sheet asks, the lines that it makes, and what was answered.

With a script the page makes the answer itself. Mail programs show the page but run no scripts: there two links open a
mail that is ready to send.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Literal
from urllib.parse import quote

from keyturn.pages.languages import ENGLISH, N_, Language
from keyturn.shop.records import JobRecord, RadioRecord
from keyturn.shop.slips import WORDS_MOST, Mark, Slip, as_line

LONGEST_URL = 1900
"""Longest link to a mail, in characters. Mail programs on Windows take about 2,000 (common practice, no source)."""

_SENTENCES = {
    "yes": N_("%(by)s says yes to %(job)s, revision %(revision)s."),
    "change": N_("%(by)s asks for a change to %(job)s, revision %(revision)s:"),
}
_SUBJECTS = {
    "yes": N_("Yes: %(job)s, revision %(revision)s"),
    "change": N_("Please change: %(job)s, revision %(revision)s"),
}
Answer = Literal["yes", "change"]


@dataclass(frozen=True, slots=True)
class Told:
    """What a sheet must know to ask about a revision: its path in the outbox, the SHA-256 of its job.json, and the
    answers there are, oldest first."""

    path: str
    digest: str
    answers: tuple[Slip, ...] = ()


@dataclass(frozen=True, slots=True)
class MarkedPicture:
    """A picture on the sheet, by its HTML id, and the marks on it: numbers and places in its own units."""

    picture: str
    width: int
    height: int
    marks: tuple[tuple[int, float, float], ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """The question about one revision. `table` is what answer.js reads; `plain` are links to mails that are ready."""

    table: dict[str, Any]
    plain: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Answered:
    """A customer's last answer."""

    slip: Slip
    pictures: tuple[MarkedPicture, ...]


def asked(record: JobRecord, told: Told, key: str, mail: str, language: Language = ENGLISH) -> Asked:
    """Return the question about a revision whose sections' HTML ids begin with `key`. `mail` is the shop's, or ""."""
    slip = _slip(record, told)
    to = "mailto:" + quote(mail, safe="@")
    table = {
        "slip": slip,
        "to": to,
        "file": f"answer-{_file_name(record.job)}-r{record.revision}.txt",
        "radios": {f"{key}r{number}": radio.radio for number, radio in enumerate(record.radios)},
        "longest": LONGEST_URL,
        "sentences": {answer: _said(_SENTENCES, answer, record, language) for answer in _SENTENCES},
        "subjects": {answer: _said(_SUBJECTS, answer, record, language) for answer in _SUBJECTS},
        "words": {
            "attached": language.gettext("The answer is in the file that I attach."),
            "mark": language.gettext("Mark %(number)s: take it away", number="{number}"),
            "copied": language.gettext("Copied."),
        },
    }
    answers: tuple[Answer, ...] = ("yes", "change")
    return Asked(table, {answer: _plain(answer, slip, to, record, language) for answer in answers})


def answered(told: Told, shown: Mapping[str, str], radios: Sequence[RadioRecord]) -> Answered | None:
    """Return the last answer to a revision; None where there is none.

    `shown` holds the radios whose pictures are on the sheet, and how the HTML ids of their sections begin.
    """
    if not told.answers:
        return None
    slip = told.answers[-1]
    there = {radio.radio: (f"{shown[radio.radio]}p", radio) for radio in radios if radio.radio in shown}
    return Answered(slip, tuple(_marked(slip.marks, there)))


def _slip(record: JobRecord, told: Told) -> dict[str, Any]:
    """Return what every answer to the revision says alike."""
    return {
        "kind": "answer",
        "customer": record.customer[:WORDS_MOST],
        "job": record.job[:WORDS_MOST],
        "revision": record.revision,
        "path": told.path,
        "digest": told.digest,
    }


def _said(texts: Mapping[str, str], answer: str, record: JobRecord, language: Language) -> str:
    return language.gettext(texts[answer], by="{by}", job=record.job[:WORDS_MOST], revision=record.revision)


def _plain(answer: Answer, slip: dict[str, Any], to: str, record: JobRecord, language: Language) -> str:
    """Return a link to a mail that says only yes or change, for where no scripts run.

    The page cannot know when the mail is sent. So it leaves the day empty and gives the same id each time; the shop
    enters a day and an id of its own when the mail comes.
    """
    fixed = hashlib.sha256(f"{slip['path']} {slip['digest']} {answer}".encode("utf-8", "replace")).hexdigest()[:24]
    line = as_line(Slip.model_validate(slip | {"id": f"plain-{fixed}", "at": "", "answer": answer}))
    start = f"{to}?subject={quote(_said(_SUBJECTS, answer, record, language), safe='', errors='replace')}"
    link = f"{start}&body={quote(f'{chr(13)}{chr(10)}' * 2 + line, safe='')}"
    return link if len(link) <= LONGEST_URL else to


def _file_name(job: str) -> str:
    """Return the job's name as every system takes it in a file's name."""
    return re.sub(r"[^\w-]+", "-", job)[:60].strip("-") or "job"


def _marked(marks: Sequence[Mark], radios: Mapping[str, tuple[str, RadioRecord]]) -> Iterator[MarkedPicture]:
    """Yield the marked pictures that are on the sheet, in the order of radios and pictures."""
    numbered = [(mark.radio, mark.picture, n, mark) for n, mark in enumerate(marks, 1) if mark.picture is not None]
    there = sorted((each for each in numbered if each[0] in radios), key=lambda each: each[:3])
    for (radio, number), group in groupby(there, key=lambda each: each[:2]):
        start, record = radios[radio]
        places = tuple((n, mark.x * record.width, mark.y * record.height) for _, _, n, mark in group)
        yield MarkedPicture(f"{start}{number}", record.width, record.height, places)
