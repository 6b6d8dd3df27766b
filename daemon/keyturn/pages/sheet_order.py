"""The order in which a customer's jobs stand on the sheet."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from keyturn.pages.revision_differences import Revision

Job = tuple[Revision, ...]
"""The revisions of a job, the newest first."""


def jobs_in_order(revisions: Iterable[Revision]) -> list[Job]:
    """Return the jobs, the newest first. Those of a fleet stand where its newest does, in the order of its table."""
    by_job = sorted(revisions, key=lambda revision: (revision[0].job, -revision[0].revision))
    jobs = [tuple(job) for _, job in groupby(by_job, key=lambda revision: revision[0].job)]
    newest = sorted(jobs, key=lambda job: job[0][0].made_at, reverse=True)
    places = {_drop(job): place for place, job in reversed([*enumerate(newest)])}
    return sorted(newest, key=lambda job: (places[_drop(job)], job[0][0].row))


def _drop(job: Job) -> str:
    """Return what the jobs of a fleet have in common, and no others."""
    record = job[0][0]
    return record.claim if record.row else record.job
