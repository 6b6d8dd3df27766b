"""Whether a revision may go on a stick where the shop asks for its customer's yes (`[approval]` in keyturn.toml)."""

from __future__ import annotations

from pathlib import Path

from keyturn.outbox import published_digests, revision_life
from keyturn.shop.reasons import Reason, refuse
from keyturn.shop.records import JobRecord


def missing(revision: Path, record: JobRecord) -> Reason | None:
    """Return what is missing for the revision in the folder `revision`; None where its customer has said yes to it.

    The last answer counts, and a yes to other files than lie there does not.
    """
    life = revision_life.read(revision)
    last = life.last_answer
    job = f"{record.job}, revision {record.revision}"
    command = f"keyturn answer {revision.parent.name}/{revision.name} yes --by NAME"
    if last is None:
        what = f"{record.customer} has not said yes to {job}"
        return refuse(
            "yes-missing", what, f"show the sheet and ask; who says yes by word of mouth is noted by: {command}"
        )
    if not life.approved:
        what = f"{last.by or record.customer} asked for a change to {job}"
        return refuse("yes-missing", what, f"make a new revision, or, after another yes: {command}")
    if last.digest != published_digests.digest_of(revision):
        what = f"the yes of {last.by or record.customer} is to other files than those of {job}"
        return refuse("yes-missing", what, f"show the sheet as it is now, then: {command}")
    return None
