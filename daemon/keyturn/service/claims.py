"""What is written beside a drop in work: whose it is, and where it is about to go."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator

from keyturn.shop.records import Record


def _below(text: str) -> str:
    """A path that leads down. These files are ours, but a disk may give back anything."""
    if "\0" in text or any(part in ("", ".", "..") for part in text.split("/")):
        raise ValueError("leads elsewhere")
    return text


def _name(text: str) -> str:
    if "/" in text:
        raise ValueError("is more than a name")
    return _below(text)


Below = Annotated[str, AfterValidator(_below)]
Name = Annotated[str, AfterValidator(_name)]


class Claim(Record):
    """claim.json. `form` tells whether the artist sent a folder or a single file (a zip)."""

    id: Name
    name: Name
    form: Literal["folder", "file"]
    claimed_at: str
    tries: int = 0


class Intent(Record):
    """Where a drop is about to go: relative to the outbox, to rejects or to the inbox."""

    target: Below
