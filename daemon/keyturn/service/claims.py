"""The records beside a drop in work: which drop it is (claim.json), and where it is about to go; what became of it."""

from __future__ import annotations

import os
import re
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import AfterValidator

from keyturn.shop import durable_files
from keyturn.shop.bounded_record import parsed
from keyturn.shop.records import Record

R = TypeVar("R", bound=Record)

CLAIM_ID = re.compile(r"[0-9]{8}T[0-9]{6}-[0-9a-f]{6}-.+", re.DOTALL)
"""A claim's id: the time of the claim, six random hex digits and the drop's name."""

LEAVING = ".keyturn-leaving-"
"""Prefix of a claimed drop's name where the inbox is on another mount. One rename hides the drop under that name,
then it is copied to work and removed from the inbox."""

_THEN = "--"
"""Parts a claim's id from the drop's name; `safe_name` leaves no two hyphens in an id."""

NAME_MOST_BYTES = 255

_BEFORE_NAME = re.compile(r"[0-9]{8}T[0-9]{6}-[0-9a-f]{6}-")


def name_in(claim_id: str) -> str:
    """Return the drop's name as far as its claim's id holds it; the id where that would hide the drop."""
    name = _BEFORE_NAME.sub("", claim_id, count=1)
    return claim_id if name.startswith(".") else name or claim_id


def leaving_name(claim_id: str, name: str) -> str:
    """Return the hidden name in the inbox of the drop called `name` while it is copied from another mount.

    It holds the drop's own name: the claim's record may be gone when the drop's share comes back. Of a name that is too
    long for a file's (NAME_MAX in limits.h) it holds the end, which may say that the drop is a zip.
    """
    start = f"{LEAVING}{claim_id}{_THEN}"
    fits = len(os.fsencode(start + name)) <= NAME_MOST_BYTES
    return start + (name if fits else name[-40:].lstrip("."))


def left_by(leaving: str) -> tuple[str, str]:
    """Return the claim's id and the drop's name from what `leaving_name` gave, or an earlier Keyturn, which named the
    claim alone."""
    claim_id, _, name = leaving.removeprefix(LEAVING).partition(_THEN)
    return claim_id, name or name_in(claim_id)


def _relative_path(text: str) -> str:
    """Return `text`. Raise ValueError where it could lead out of the folder it is used in.

    Keyturn writes these records itself, but a damaged disk may return any bytes.
    """
    if "\0" in text or any(part in ("", ".", "..") for part in text.split("/")):
        raise ValueError("leads out of its folder")
    return text


def _one_name(text: str) -> str:
    if "/" in text:
        raise ValueError("is a path, not a name")
    return _relative_path(text)


RelativePath = Annotated[str, AfterValidator(_relative_path)]
Name = Annotated[str, AfterValidator(_one_name)]


class Claim(Record):
    """claim.json. `form` says whether the artist sent a folder or a single file (a zip).

    `tries` counts the attempts to make the drop that ended abruptly, and the one under way. While `tries` stood at a
    number in `others_through`, another drop went through; at one in `others_ended`, another one ended abruptly too.
    `claimed_at` is ISO 8601, UTC. `is_small`: it may be made beside a large one. `is_rush`: it goes before others.
    """

    id: Name
    name: Name
    form: Literal["folder", "file"]
    claimed_at: str
    is_small: bool = False
    is_rush: bool = False
    tries: int = 0
    others_through: tuple[int, ...] = ()
    others_ended: tuple[int, ...] = ()


class Outcome(StrEnum):
    """What became of a drop. `FINISHED`: an earlier try had published or refused it already.

    `ENTERED`: a slip, stock files or films were.
    """

    READY = "ready"
    REFUSED = "refused"
    RETURNED = "returned"
    STOPPED = "stopped"
    FINISHED = "finished"
    ENTERED = "entered"


class Intent(Record):
    """Where a drop is about to go.

    `target` is relative to the outbox in publish.json, to rejects in reject.json, to the inbox in return.json.
    """

    target: RelativePath


class Publication(Intent):
    """publish.json: the revisions that are made from a drop, `target` the first of them.

    Of a fleet `others` are the further ones, and `places` what lies in outbox/.building/<claim> of each, the first
    included. `rest` is the name in rejects of a fleet's faulty rows, which lie in work/<claim>/rest.
    """

    others: tuple[RelativePath, ...] = ()
    places: tuple[Name, ...] = ()
    rest: Name | None = None

    @property
    def targets(self) -> tuple[str, ...]:
        return (self.target, *self.others)


def write_record(path: Path, record: Record) -> None:
    """Replace the file at `path` by `record`, durably and in one step."""
    durable_files.write_atomic(path, record.model_dump_json().encode("utf-8"))


def read_record(path: Path, model: type[R]) -> R | None:
    """Return the record in `path`; None where there is no such file or it is not a whole record."""
    try:
        return parsed(path.read_bytes(), model)
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError, ValueError):
        return None
