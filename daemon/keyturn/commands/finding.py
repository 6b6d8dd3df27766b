"""What `keyturn doctor` finds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Health(StrEnum):
    WELL = "well"
    MIND = "mind"
    ILL = "ill"


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the machine or the shop. `remedy` is empty where it is well."""

    health: Health
    what: str
    remedy: str = ""


def well(what: str) -> Finding:
    """Return a finding that needs no remedy."""
    return Finding(Health.WELL, what)
