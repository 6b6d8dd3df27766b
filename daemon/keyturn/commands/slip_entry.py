"""Say what became of a revision: beside it where we may write there, else as a file in the inbox.

The service alone writes in the outbox, so most people hand their slip over through the inbox. Whoever may write beside
the revision, such as root, or somebody with a revision of their own, writes there at once.
"""

from __future__ import annotations

import os
import pwd
import secrets
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from keyturn.outbox import published_digests, revision_life
from keyturn.shop import durable_files, slips
from keyturn.shop.file_modes import group_reads
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.records import JobRecord
from keyturn.shop.slips import WORDS_MOST, Kind, Slip, SlipError

WRITTEN, HANDED_IN = "written beside the revision", "put into the inbox, from where the service enters it"
"""Where a slip went."""

_SHORT = ("customer", "job", "by", "stick", "vehicle")

_MOST_NAME = 60


def slip_for(kind: Kind, revision: Path, job: JobRecord, **more: Any) -> Slip:
    """Return a slip about the revision in the folder `revision`. Short texts lose what is too long for a slip.

    Raise `ShopFault` where it cannot be told which revision it is.
    """
    digest = published_digests.digest_of(revision)
    if digest is None:
        raise ShopFault(f"{revision} has no readable job.json", "name a revision's folder in the outbox")
    place = revision.resolve()
    known = {
        "id": secrets.token_hex(8),
        "customer": job.customer,
        "job": job.job,
        "revision": job.revision,
        "path": f"{place.parent.name}/{place.name}",
        "digest": digest,
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "by": login_name(),
    }
    told: dict[str, Any] = {"kind": kind} | known | more
    return Slip.model_validate(told | {name: told[name][:WORDS_MOST] for name in _SHORT if name in told})


def enter(shop: Shop | None, revision: Path, slip: Slip) -> str:
    """Enter the slip, and return in words where it went. Raise OSError where it can be written nowhere."""
    with group_reads():  # the service reads it as a member of the group
        try:
            revision_life.enter(revision, slip)
            return WRITTEN
        except OSError:
            if shop is None or not shop.inbox.is_dir():
                raise
        put_into(shop.inbox, slip)
    return HANDED_IN


def entered(shop: Shop | None, revision: Path, kind: Kind) -> tuple[Slip, ...]:
    """Return the slips of one kind about the revision: those beside it, and those that wait in the inbox."""
    beside = getattr(revision_life.read(revision), kind)
    waiting = _waiting(shop.inbox, kind) if shop else ()
    digest = published_digests.digest_of(revision)
    known = {slip.id for slip in beside}
    return (*beside, *(slip for slip in waiting if slip.digest == digest and slip.id not in known))


def _waiting(inbox: Path, kind: Kind) -> tuple[Slip, ...]:
    """Return the slips of one kind in the inbox, as far as we may look, under the names that `put_into` gives them."""
    found = []
    for path in sorted(inbox.glob(f"{kind}-*.txt")):
        with suppress(OSError, SlipError):
            text = durable_files.read_plain(path, slips.SLIP_MOST_BYTES)
            found.append(slips.found_in(text) if text else None)
    return tuple(slip for slip in found if slip is not None and slip.kind == kind)


def login_name() -> str:
    """Return the name of whoever runs the command; under sudo, of whoever called it."""
    if os.geteuid() == 0 and (behind := os.environ.get("SUDO_USER")):
        return behind
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return f"user {os.getuid()}"


def put_into(inbox: Path, slip: Slip) -> None:
    """Write the slip as one file, whole and in one step."""
    name = f"{slip.kind}-{slip.path.partition('/')[2][:_MOST_NAME]}-{slip.id[:8]}.txt"
    durable_files.write_atomic(inbox / name, f"{slips.as_line(slip)}\n".encode("ascii"))
