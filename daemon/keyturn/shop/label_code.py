"""What the code on a stick's label says: which revision the stick is of, by job and digest, and for which vehicle.

It is ASCII, so that every reader of codes shows it as it is: keyturn:van-two-r2:3f9a0c1b22dd4e5f:1. A name in other
letters stands there in Punycode (RFC 3492) after xn--, as in names of hosts (RFC 5890).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

DIGITS = 16
"""How many hex digits of the SHA-256 of a job.json are in the code. Two of a million revisions have the same with a
probability of 1 in 37 million: (10^6)^2 / 2 / 2^64."""

_CODE = re.compile(rf"keyturn:([^:/\s]{{1,200}}):([0-9a-f]{{{DIGITS}}})(?::([1-9][0-9]{{0,3}}))?")
_OTHER_LETTERS = "xn--"
"""No folder of a job begins so: file_names.safe_name leaves no two hyphens together."""


@dataclass(frozen=True, slots=True)
class LabelCode:
    """The folder's name of the revision, the first digits of the SHA-256 of its job.json, and which of the job's
    vehicles it is for, counted from 1; 0 where it says none."""

    name: str
    digest: str
    vehicle: int = 0

    def text(self) -> str:
        """Return what the code says."""
        name = self.name if self.name.isascii() else _OTHER_LETTERS + self.name.encode("punycode").decode("ascii")
        return f"keyturn:{name}:{self.digest[:DIGITS]}" + (f":{self.vehicle}" if self.vehicle else "")


def parsed(text: str) -> LabelCode | None:
    """Return what a code says; None for any other text. Scanners that type may do so in capitals."""
    found = _CODE.fullmatch(text.strip().lower())
    if found is None:
        return None
    name = found[1]
    if name.startswith(_OTHER_LETTERS):
        try:
            name = name.removeprefix(_OTHER_LETTERS).encode("ascii").decode("punycode")
        except UnicodeError:
            return None
        if name.isascii():  # it would be written without xn--
            return None
    return LabelCode(name, found[2], int(found[3] or 0)) if name.isprintable() else None
