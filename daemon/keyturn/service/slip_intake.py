"""Slips from the inbox: each is checked against the outbox, and entered beside the revision that it is about.

A slip comes as a file of any name: its content tells it. Entering it is idempotent, by the slip's id, so a try that was
cut off is made again.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any

from loguru import logger

from keyturn.inbox.survey import OURS
from keyturn.outbox import published_digests, record_files, revision_life
from keyturn.outbox.customer_folder import revision_names
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.shop import durable_files, slips
from keyturn.shop.own_files import is_plain_folder
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.slips import WORDS_MOST, Slip, SlipError

OF_THE_NEWEST = ("shown", "answer")
"""Slips of these kinds are for a job's newest revision alone."""


def text_in(drop: Path) -> bytes | None:
    """Return the text of a drop that is one small file with a slip in it, whole or not; None for any other drop.

    `drop` is the drop's folder in work. A slip that was refused and comes back brings our notices along.
    """
    with os.scandir(drop) as entries:
        names = [entry.name for entry in entries if entry.name not in OURS]
    if len(names) != 1:
        return None
    text = durable_files.read_plain(drop / names[0], slips.SLIP_MOST_BYTES)
    return text if text is not None and slips.is_in(text) else None


def checked(text: bytes, outbox: Path, claim: Claim) -> Slip:
    """Return the slip in the text, which fits the outbox as it is now. Raise `Refused` where it does not.

    A ready mail does not say when it was written, and is the same each time: such a slip gets the time at which it was
    taken from the inbox, and an id of its own. So yes, a change and yes again are three answers.
    """
    try:
        slip = slips.found_in(text)
    except SlipError:
        slip = None
    if slip is not None and not slip.at:
        own = hashlib.sha256(f"{slip.id} {claim.id}".encode()).hexdigest()[:32]
        slip = slip.model_copy(update={"at": claim.claimed_at, "id": own})
    if slip is None:
        what = "the line with the answer is not whole, or was changed on its way"
        raise Refused([refuse("slip-spoilt", what, "copy the whole line, from [ to ], and send it again")])
    revision, reason = _revision(slip, outbox), None
    if revision is None:
        what = f"there is no job {slip.path} in the outbox"
        reason = refuse("slip-job-unknown", what, "look on the board which jobs there are, and answer to one of them")
    elif not revision_life.knows(revision, slip):
        reason = misfit(slip, revision)
    if reason is not None:
        raise Refused([reason], customer=slip.customer)
    return slip


def enter(slip: Slip, claim: Claim, folders: DropFolders, books: Bookkeeping) -> dict[str, Any] | None:
    """Enter a checked slip, write its customer's sheet anew and archive its file. Return what hooks are told of an
    answer that was not known; None of any other slip.
    """
    new = revision_life.enter(folders.shop.outbox / slip.path, slip)
    books.enter_slip(slip.path)
    folders.archive_slip(claim, slip.path)
    logger.success("{}: {} in outbox/{}", claim.name, slip.kind, slip.path)
    if not new or slip.kind != "answer":
        return None
    return {"path": f"outbox/{slip.path}", "slip": slip.model_dump(mode="json")}


def _revision(slip: Slip, outbox: Path) -> Path | None:
    customer, _, name = slip.path.partition("/")
    folders = [path for path in outbox.iterdir() if path.name == customer and is_plain_folder(path)]
    return next((folder / name for folder in folders if name in revision_names(folder)), None)


def misfit(slip: Slip, revision: Path) -> Reason | None:
    """Return why the slip is not about the revision as it lies in the outbox, or not about the newest one."""
    job, _ = job_and_number(revision.name) or ("", 0)
    newest = max(number for other, number, _ in record_files.revisions(revision.parent) if other == job)
    if slip.kind in OF_THE_NEWEST and slip.revision < newest:
        what = f"it is about revision {slip.revision}, and revision {newest} is in the outbox"
        return refuse("slip-for-older", what, f"show the customer revision {newest}, and ask for an answer to that one")
    record = record_files.read_job(revision)
    told = (slip.customer, slip.job, slip.revision)
    shown = record and (record.customer[:WORDS_MOST], record.job[:WORDS_MOST], record.revision)
    if told != shown or published_digests.digest_of(revision) != slip.digest:
        what = f"what was shown is not what lies in outbox/{slip.path}"
        return refuse(
            "slip-digest-wrong", what, "show the customer the sheet as it is now, and ask for an answer to it"
        )
    return None
