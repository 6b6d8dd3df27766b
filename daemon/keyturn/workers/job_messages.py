"""Messages of a few jobs each for a cluster, packed with their files; several are handed to it at once.

A message by itself and its answer cost the service 1.4 ms and the scheduler 1.9 ms, eight at once 0.7 and 1.2 ms each
(`tests/benchmarks/scaling.py` on two cores).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar
from uuid import uuid4

from keyturn.workers import remote_job
from keyturn.workers.remote_job import Done
from keyturn.workers.sent_files import MessageFiles

J = TypeVar("J")

MOST_AT_ONCE = 8
"""So many messages are handed over at once, and so many answers taken."""

AT_ONCE_BYTES = 16 * 2**20
"""No further message is handed over with those that already hold so much: workers wait meanwhile."""

TAKEN_WITHIN_S = 10.0
"""After so many seconds the answers are asked for one by one."""


@dataclass(frozen=True, slots=True)
class Batch(Generic[J]):
    """Jobs that are sent together, and the names of their files."""

    jobs: Sequence[J]
    names: Sequence[str]


@dataclass(frozen=True, slots=True)
class Parcel(Batch[J]):
    """A message to the cluster: a batch packed for `remote_job.work`, and the files of its jobs."""

    packed_jobs: bytes
    files: MessageFiles

    @property
    def size(self) -> int:
        """Bytes that are sent with it."""
        return len(self.packed_jobs) + sum(map(len, self.files.inside.values()))


@dataclass(frozen=True, slots=True)
class SentBatch(Batch[J]):
    """A batch that was sent, and the cluster's future of its `Done`."""

    future: Any


def together(messages: Iterable[Parcel[J]], most: int) -> list[Parcel[J]]:
    """Draw the messages that are handed over at once, at most `most`."""
    drawn: list[Parcel[J]] = []
    for one in messages:
        drawn.append(one)
        if len(drawn) >= min(most, MOST_AT_ONCE) or sum(each.size for each in drawn) >= AT_ONCE_BYTES:
            break
    return drawn


def handed_over(client: Any, ours: Mapping[str, str], task: str, messages: Sequence[Parcel[J]]) -> list[SentBatch[J]]:
    """Hand the messages to the cluster. `ours` are the service's versions, `task` the name of the jobs' task."""
    futures = client.map(
        remote_job.work,
        [remote_job.uncopied(one.packed_jobs) for one in messages],
        [{name: remote_job.uncopied(data) for name, data in one.files.inside.items()} for one in messages],
        [one.files.kept for one in messages],
        ours=remote_job.as_text(ours),
        key=[f"{task}-{uuid4().hex}" for _ in messages],  # the cluster's pages count messages by the first word
        pure=False,
    )
    return [SentBatch(one.jobs, one.names, future) for one, future in zip(messages, futures, strict=True)]


def taken_together(client: Any, batches: Sequence[SentBatch[J]]) -> list[Done] | None:
    """Return what the batches gave; None where that is not to be had at once, for whatever reason."""
    futures = [batch.future for batch in batches]
    gathered: Callable[[], Any] = lambda: client.gather(futures, asynchronous=True)  # noqa: E731
    try:
        taken: list[Done] = client.sync(gathered, callback_timeout=TAKEN_WITHIN_S)
    except Exception:  # each is asked for by itself then, and says what is wrong
        return None
    return taken
