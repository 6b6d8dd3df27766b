"""Why something was refused, mended or noted, and the two exceptions that end a piece of work.

A `Reason` says in the artist's words which file and field it is about, what is wrong and how to mend it. What is
wrong with a drop raises `Refused` with every reason found so far. What is wrong with the shop's machine raises
`ShopFault`: the service pauses, and the drop stays safe.
"""

from __future__ import annotations

import errno
from collections.abc import Iterable, Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints, field_validator

REASONS_SHOWN = 200
"""A rejects page names at most this many things: a manifest of 256 KiB can be wrong in 30,000 places."""

Code = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]


class Kind(StrEnum):
    """Of a reason: it refuses the drop, says what Keyturn mended by itself, or is worth knowing."""

    REFUSE = "refuse"
    MENDED = "mended"
    NOTE = "note"


Box = tuple[float, float, float, float]
"""Left, top, right and bottom in shares of a picture's width and height, 0 to 1."""


class Exhibit(BaseModel):
    """A picture that pages show with a reason, and the place on it that is meant.

    `name` is a file of the drop. With a `radio` the picture is a frame made for it, number `picture` of
    `RadioProof.frames`, and `name` says which in words. `kept` is the part that is shown where the rest is cut off.
    """

    model_config = ConfigDict(frozen=True, extra="ignore", defer_build=True)

    name: str
    radio: str = ""
    picture: int = 0
    kept: Box | None = None
    marked: Box | None = None

    @field_validator("name")
    @classmethod
    def _can_be_written(cls, text: str) -> str:
        return writable(text)


Exhibits = tuple[Exhibit, ...]


def writable(text: str) -> str:
    """Escape bytes of file names that are not UTF-8 (PEP 383's surrogates): JSON and pages cannot hold them."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


class Reason(BaseModel):
    """One finding. `file` is relative to the drop, `/`-separated; `field` is a dotted manifest key.

    `mend` may end in lines to paste, each after a line break. `exhibits` are shown with it.
    """

    # records hold reasons, those of a newer Keyturn too
    model_config = ConfigDict(frozen=True, extra="ignore", defer_build=True)

    code: Code
    kind: Kind
    what: str
    mend: str = ""
    file: str | None = None
    field: str | None = None
    exhibits: Exhibits = ()

    @field_validator("what", "mend", "file", "field")
    @classmethod
    def _can_be_written(cls, text: str | None) -> str | None:
        return text and writable(text)

    def line(self) -> str:
        """Return the reason as one plain line, for terminals and logs. Lines to paste are parted by a /."""
        place = " ".join(filter(None, [self.file, f"[{self.field}]" if self.field else None]))
        text = f"{place}: {self.what}" if place else self.what
        mend = self.mend.replace(":\n", ": ").replace("\n", " / ")
        return f"{text} -> {mend}" if mend else text


def refuse(
    code: str, what: str, mend: str, *, file: str | None = None, field: str | None = None, exhibits: Exhibits = ()
) -> Reason:
    """Return a reason that refuses the drop."""
    return Reason(code=code, kind=Kind.REFUSE, what=what, mend=mend, file=file, field=field, exhibits=exhibits)


def mended(code: str, what: str, *, file: str | None = None, field: str | None = None) -> Reason:
    """Return a reason that says what was mended."""
    return Reason(code=code, kind=Kind.MENDED, what=what, file=file, field=field)


def note(
    code: str, what: str, mend: str = "", *, file: str | None = None, field: str | None = None, exhibits: Exhibits = ()
) -> Reason:
    """Return a reason that is worth knowing and stops nothing."""
    return Reason(code=code, kind=Kind.NOTE, what=what, mend=mend, file=file, field=field, exhibits=exhibits)


class Refused(Exception):  # noqa: N818 - the word of the trade; it is an outcome, not an error of the program
    """The drop cannot be made as it is. `reasons` holds every reason found: refusals, what was mended and notes.

    `customer` is the manifest's customer and `root` the artist's own folder, as far as they were known when the drop
    was refused; else None. `pictures` are small ones of made frames that exhibits name, as data URIs.
    """

    def __init__(
        self,
        reasons: Iterable[Reason],
        *,
        customer: str | None = None,
        root: Path | None = None,
        pictures: Mapping[str, str] | None = None,
    ) -> None:
        self.reasons: tuple[Reason, ...] = tuple(reasons)
        self.customer, self.root, self.pictures = customer, root, dict(pictures or {})
        super().__init__("; ".join(r.line() for r in self.reasons if r.kind is Kind.REFUSE))

    def __reduce__(self) -> tuple[type[Refused], tuple[tuple[Reason, ...]], dict[str, object]]:
        # Workers send it to the service by pickle. pickle sets the last item's values as attributes.
        return Refused, (self.reasons,), {"customer": self.customer, "root": self.root, "pictures": self.pictures}


class ShopFault(Exception):  # noqa: N818 - see Refused
    """The shop's own machine is at fault. The service pauses, says why and tries again."""

    def __init__(self, what: str, mend: str = "") -> None:
        self.what, self.mend = what, mend
        super().__init__(f"{what} -> {mend}" if mend else what)

    def __reduce__(self) -> tuple[type[ShopFault], tuple[str, str]]:
        return (type(self), (self.what, self.mend))


class FolderAway(ShopFault):
    """One of the shop's folders is not there: as a rule a share that is not mounted yet."""


class RadioFault(ShopFault):
    """The profile of one radio is at fault: drops for other radios go on."""


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
    """Return `error` as a fault of the shop's machine, with how to mend it; None where it is not one of `_REMEDIES`."""
    remedy = _REMEDIES.get(error.errno or 0)
    if remedy is None:
        return None
    where = f" ({error.filename})" if error.filename else ""
    return ShopFault(f"{error.strerror}{where}", remedy)


def gathered(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Return the reasons, those that differ only in their file as one: 48 frames of one camera have one profile."""
    groups: dict[tuple[str, str, str, str, str | None], list[Reason]] = {}
    for reason in reasons:
        groups.setdefault((reason.code, reason.kind, reason.what, reason.mend, reason.field), []).append(reason)
    return tuple(_as_one(group) for group in groups.values())


def _as_one(group: list[Reason]) -> Reason:
    files = list(dict.fromkeys(r.file for r in group))
    if len(files) < 2:
        return group[0]
    return group[0].model_copy(update={"what": f"{group[0].what} (and {len(files) - 1} more like it)"})


def first_of(reasons: Iterable[Reason], most: int) -> tuple[Reason, ...]:
    """Return the reasons as they are where there are at most `most`. Of more, return that many, refusals first and
    notes last, and one reason that says how many were left out."""
    found = tuple(reasons)
    if len(found) <= most:
        return found
    kinds = [Kind.REFUSE, Kind.MENDED, Kind.NOTE]
    shown = sorted(found, key=lambda reason: kinds.index(reason.kind))[:most]
    more = note("more-reasons", f"{len(found) - most} more things were found", "mend these first, then send it again")
    return (*shown, more)


def only(reasons: Iterable[Reason], kind: Kind) -> tuple[Reason, ...]:
    """Return the reasons of `kind`, in their order."""
    return tuple(r for r in reasons if r.kind is kind)


def stop_if_refused(reasons: Iterable[Reason]) -> None:
    """Raise `Refused` with all of `reasons` where at least one of them refuses."""
    found = tuple(reasons)
    if only(found, Kind.REFUSE):
        raise Refused(found)
