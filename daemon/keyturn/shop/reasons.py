"""Why something was refused, mended or noted, and the two faults that end a piece of work.

A `Reason` speaks the artist's words: which file, which field, what is wrong, how to mend it.
Sender faults raise `Refused` with every reason found so far; operator faults raise `ShopFault`,
which pauses the service and never costs an artist anything.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterable
from enum import StrEnum
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints, field_validator

Code = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]


class Kind(StrEnum):
    REFUSE = "refuse"
    MENDED = "mended"
    NOTE = "note"


class Reason(BaseModel):
    """One finding. `file` is relative to the drop, `/`-separated; `field` is a dotted manifest key."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    code: Code
    kind: Kind
    what: str
    mend: str = ""
    file: str | None = None
    field: str | None = None

    @field_validator("what", "mend", "file", "field")
    @classmethod
    def _can_be_written(cls, text: str | None) -> str | None:
        """A name in it may hold bytes that are not UTF-8 (PEP 383's surrogates): JSON and pages cannot."""
        return text and text.encode("utf-8", "backslashreplace").decode("utf-8")

    def line(self) -> str:
        """The finding as one plain line for terminals, logs and REJECTED.txt."""
        place = " ".join(filter(None, [self.file, f"[{self.field}]" if self.field else None]))
        text = f"{place}: {self.what}" if place else self.what
        return f"{text} -> {self.mend}" if self.mend else text


def refuse(code: str, what: str, mend: str, *, file: str | None = None, field: str | None = None) -> Reason:
    return Reason(code=code, kind=Kind.REFUSE, what=what, mend=mend, file=file, field=field)


def mended(code: str, what: str, *, file: str | None = None, field: str | None = None) -> Reason:
    return Reason(code=code, kind=Kind.MENDED, what=what, file=file, field=field)


def note(code: str, what: str, mend: str = "", *, file: str | None = None, field: str | None = None) -> Reason:
    return Reason(code=code, kind=Kind.NOTE, what=what, mend=mend, file=file, field=field)


class Refused(Exception):  # noqa: N818 - it is an outcome of the trade, not an error of ours
    """The drop cannot be made as it is. Carries every reason found, refusals and the rest.

    `customer` and `root`, the artist's own folder, are None where the drop was refused before they were known.
    """

    def __init__(self, reasons: Iterable[Reason], *, customer: str | None = None, root: Path | None = None) -> None:
        self.reasons: tuple[Reason, ...] = tuple(reasons)
        self.customer, self.root = customer, root
        super().__init__("; ".join(r.line() for r in self.reasons if r.kind is Kind.REFUSE))

    def __reduce__(self) -> tuple[Callable[..., Refused], tuple[tuple[Reason, ...], str | None, Path | None]]:
        return (_refused, (self.reasons, self.customer, self.root))  # crosses process borders


def _refused(reasons: tuple[Reason, ...], customer: str | None, root: Path | None) -> Refused:
    return Refused(reasons, customer=customer, root=root)


class ShopFault(Exception):  # noqa: N818 - see Refused
    """The shop's own machine is at fault: the service pauses, says so and tries again."""

    def __init__(self, what: str, mend: str = "") -> None:
        self.what, self.mend = what, mend
        super().__init__(f"{what} -> {mend}" if mend else what)

    def __reduce__(self) -> tuple[type[ShopFault], tuple[str, str]]:
        return (ShopFault, (self.what, self.mend))


_REMEDIES = {
    errno.ENOSPC: "free some space on this disk",
    errno.EDQUOT: "raise or free the disk quota of Keyturn's user",
    errno.EROFS: "mount the file system writable again",
    errno.EACCES: "give Keyturn's user the right to read and write there",
    errno.EPERM: "give Keyturn's user the right to read and write there",
    errno.EIO: "check the disk; the system reports a read or write error",
    errno.EMFILE: "raise the open-file limit (LimitNOFILE) of the service",
    errno.ENFILE: "the machine has run out of open files; close programs or raise fs.file-max",
    errno.ENOMEM: "the machine has run out of memory; close programs or add memory",
    errno.ESTALE: "mount the network share again",
    errno.ENOTCONN: "mount the network share again",
    errno.EHOSTDOWN: "mount the network share again",
}


def shop_fault(error: OSError) -> ShopFault | None:
    """The operator's fault behind `error`, or None where the error is not one of the shop's."""
    remedy = _REMEDIES.get(error.errno or 0)
    if remedy is None:
        return None
    where = f" ({error.filename})" if error.filename else ""
    return ShopFault(f"{error.strerror}{where}", remedy)


def gathered(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Findings alike but for their file told once: forty-eight frames of one camera have one profile."""
    groups: dict[tuple[str, str, str, str, str | None], list[Reason]] = {}
    for reason in reasons:
        groups.setdefault((reason.code, reason.kind, reason.what, reason.mend, reason.field), []).append(reason)
    return tuple(_told_once(group) for group in groups.values())


def _told_once(group: list[Reason]) -> Reason:
    files = list(dict.fromkeys(r.file for r in group))
    if len(files) < 2:
        return group[0]
    return group[0].model_copy(update={"what": f"{group[0].what} (and {len(files) - 1} more like it)"})


def only(reasons: Iterable[Reason], kind: Kind) -> tuple[Reason, ...]:
    return tuple(r for r in reasons if r.kind is kind)


def stop_if_refused(reasons: Iterable[Reason]) -> None:
    """Raises `Refused` with all of `reasons` where at least one of them refuses."""
    found = tuple(reasons)
    if only(found, Kind.REFUSE):
        raise Refused(found)
