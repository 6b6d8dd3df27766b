"""desc.txt of a ready-made archive, with the usual slips of hand-made ones put right."""

from __future__ import annotations

from pathlib import Path

from keyturn.radio.desc import Desc, parse
from keyturn.shop.reasons import Reason, Refused, mended, note, refuse

NAMES = ("desc.txt", "desc.txt.txt", "desc")
"""What desc.txt is called, in lower case, the likeliest first: systems that hide endings make people write it twice."""

MOST_NOTED = 20
"""So many faults of one desc.txt are noted one by one."""

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")
_NOTED = frozenset(
    [
        "row-not-understood",
        "line-skipped",
        "row-rest",
        "size-rest",
        "size-doubled",
        "size-not-first",
        "type-unknown",
        "path-too-long",
    ]
)
"""Faults that the reference player (AOSP) plays on with. Keyturn does what that player does, and notes them."""


def desc_files(folder: Path) -> list[Path]:
    """Return the files of `folder` that may be its desc.txt, the likeliest first."""
    found = [p for p in folder.iterdir() if p.name.lower() in NAMES and p.is_file()]
    return sorted(found, key=lambda p: (p.name != "desc.txt", NAMES.index(p.name.lower())))


def read_desc(root: Path, archive: str, *, max_kib: float = 256) -> tuple[Desc, list[Reason]]:
    """Return the desc.txt in `root` and what was mended in it; the reasons name the file `archive`.

    Raise `Refused` where there is none, or none with a size, a rate and at least one row, and where it is larger than
    `max_kib`: it is read line by line in the service's own process.
    """
    files = desc_files(root)
    if not files:
        what = "has no desc.txt at its root, so a radio shows nothing"
        raise Refused([refuse("desc-missing", what, "name the parts under [[part]]", file=archive)])
    reasons: list[Reason] = []
    if files[0].name != "desc.txt":
        reasons.append(mended("desc-renamed", f"{files[0].name} was read as desc.txt", file=archive))
    data, repairs = _repaired(_start_of(files[0], archive, max_kib))
    reasons += [mended("desc-mended", f"desc.txt {what}", file=archive) for what in repairs]
    read = parse(data)
    noted = [fault for fault in read.faults if fault.code in _NOTED]
    reasons += [
        note(fault.code, f"desc.txt, line {fault.line}: {fault.what}", fault.mend, file=archive)
        for fault in noted[:MOST_NOTED]
    ]
    if len(noted) > MOST_NOTED:
        what = f"desc.txt has {len(noted) - MOST_NOTED} more lines that a radio reads otherwise than they were meant"
        reasons.append(note("desc-notes-more", what, "write a row a part", file=archive))
    if read.desc is None or not read.desc.rows:
        what = "has a desc.txt that no radio can read: no size and rate, or no part rows"
        raise Refused([*reasons, refuse("desc-unreadable", what, "name the parts under [[part]]", file=archive)])
    return read.desc, reasons


def _start_of(path: Path, archive: str, max_kib: float) -> bytes:
    with path.open("rb") as file:
        data = file.read(int(max_kib * 1024) + 1)
    if len(data) > max_kib * 1024:
        what = f"has a {path.name} of more than {max_kib:g} KiB"
        raise Refused([refuse("desc-too-large", what, "write it anew, a row a part", file=archive)])
    return data


def _repaired(data: bytes) -> tuple[bytes, list[str]]:
    """Return the text as UTF-8 with Unix line ends, each line ended, and what was wrong with it."""
    found = []
    if data.startswith(_UTF_16_MARKS):
        data = data.decode("utf-16", "replace").encode("utf-8")
        found.append("was saved as UTF-16")
    if data.startswith(_BYTE_ORDER_MARK):
        data = data.removeprefix(_BYTE_ORDER_MARK)
        found.append("began with a byte-order mark")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        found.append("had line ends of another system")
    if data.rpartition(b"\n")[2].strip():
        data += b"\n"
        found.append("had no end of line after its last row: a radio would have dropped it")
    return data, found
