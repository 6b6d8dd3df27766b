"""What a message says: of a drop that is ready or was refused, of a customer's answer, of a pause, and of many at once.

A message is plain text in English. Names come from outside, so each stays on its line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from keyturn.service import hooks
from keyturn.shop.plain_text import plain_line

Event = Literal[hooks.Event, "paused"]
"""What a message is about; also the name of its list of addresses in [notify] of keyturn.toml."""

MOST_REASONS = 5
"""A message is read on a phone: it gives so many reasons, and how many there are besides."""

MOST_LINES = 30
"""A digest has so many lines, and says how many are left out."""

LONGEST_LINE = 200

_MANY = {
    "ready": "drops are ready",
    "refused": "drops were refused",
    "answered": "answers came",
    "paused": "faults paused the service",
}


@dataclass(frozen=True, slots=True)
class Message:
    """One message. A digest shows its title, and the first of its lines where it is `brief`."""

    event: Event
    title: str
    lines: tuple[str, ...]
    brief: bool = False

    @property
    def body(self) -> str:
        return "\n".join(self.lines)


def of_outcome(event: hooks.Event, record: Mapping[str, Any]) -> Message:
    """Return the message about an outcome, from the record that hooks get: see `service.drop_maker`.

    An answer's record is {"path": ..., "slip": a `shop.slips.Slip` of the kind "answer" as JSON}.
    """
    if event == "ready":
        return _ready(record["path"], record["job"])
    if event == "refused":
        return _refused(record["path"], record["rejection"])
    return _answered(record["path"], record["slip"])


def of_pause(fault: str) -> Message:
    """Return the message that the service is paused by `fault`."""
    lines = _line(fault), "Drops are safe where they are; work goes on by itself when this is mended."
    return Message("paused", "Keyturn is paused", lines, brief=True)


def digest(messages: Sequence[Message]) -> Message:
    """Return one message that tells of several about one event, at least one."""
    if len(messages) == 1:
        return messages[0]
    lines = [_line(f"{m.title}: {m.lines[0]}" if m.brief and m.lines else m.title) for m in messages[:MOST_LINES]]
    left_out = len(messages) - len(lines)
    event = messages[0].event
    return Message(event, f"{len(messages)} {_MANY[event]}", (*lines, *_and_more(left_out)))


def _ready(path: str, job: Mapping[str, Any]) -> Message:
    reasons = [*job["reasons"], *(reason for radio in job["radios"] for reason in radio["reasons"])]
    return Message("ready", f"Ready: {_named(job)}", (*_reasons(reasons), _line(path)))


def _refused(path: str, rejection: Mapping[str, Any]) -> Message:
    whose = f", for {_line(rejection['customer'])}" if rejection["customer"] else ""
    faults = [reason for reason in rejection["reasons"] if reason["kind"] == "refuse"]
    lines = (*_reasons(faults), _line(path))
    return Message("refused", f"Refused: {_line(rejection['drop'])}{whose}", lines, brief=True)


def _answered(path: str, slip: Mapping[str, Any]) -> Message:
    said = "Yes" if slip["answer"] == "yes" else "Please change"
    by = (f"by {_line(slip['by'])}",) if slip["by"] else ()
    note = tuple(_line(line) for line in slip["note"].splitlines() if line.strip())[:MOST_LINES]
    return Message("answered", f"{said}: {_named(slip)}", (*note, *by, _line(path)))


def _named(record: Mapping[str, Any]) -> str:
    return f"{_line(record['job'])}, revision {record['revision']}, for {_line(record['customer'])}"


def _reasons(reasons: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    told = list(dict.fromkeys(map(_reason, reasons)))
    return (*told[:MOST_REASONS], *_and_more(len(told) - MOST_REASONS))


def _reason(reason: Mapping[str, Any]) -> str:
    place = " ".join(filter(None, (reason["file"], f"[{reason['field']}]" if reason["field"] else "")))
    mend = reason["mend"].partition("\n")[0]
    return _line(f"{place}{': ' if place else ''}{reason['what']}{' -> ' if mend else ''}{mend}")


def _and_more(number: int) -> tuple[str, ...]:
    return (f"and {number} more",) if number > 0 else ()


def _line(text: str) -> str:
    plain = plain_line(text)
    return plain if len(plain) <= LONGEST_LINE else f"{plain[: LONGEST_LINE - 3]}..."
