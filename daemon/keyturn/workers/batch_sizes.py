"""How many jobs travel to a cluster's worker together: each message costs the service milliseconds of its own."""

from __future__ import annotations

TOGETHER_S = 0.3
"""Jobs that take a worker so long, in seconds, travel together: messages are few, and a lost worker costs little."""

MOST_TOGETHER = 8
"""Jobs mostly have one file of their own: with those inside it, a message is at most 32 MiB."""

OF_A_SHARE = 6
"""A batch is at most this part of the jobs that each worker has had so far. So when the last batch is done alone, the
others have waited for a small part of the whole time."""


class BatchSizes:
    """Learns from the workers how long the jobs of each task take, and fits the batches to that."""

    def __init__(self) -> None:
        self._seconds: dict[str, float] = {}

    def learn(self, task: str, jobs: int, seconds: float) -> None:
        """Note that a worker took `seconds` for so many `jobs` of a task. The last ones count most."""
        one = seconds / jobs
        self._seconds[task] = (self._seconds.get(task, one) + one) / 2

    def size(self, task: str, sent: int, workers: int) -> int:
        """Return how many jobs the next batch has, where `sent` jobs of this run went to so many `workers`.

        How many are left is not known: jobs are drawn one by one. A task that nobody has done yet goes job by job.
        """
        seconds = self._seconds.get(task)
        if seconds is None:
            return 1
        fitting = MOST_TOGETHER if seconds * MOST_TOGETHER <= TOGETHER_S else int(TOGETHER_S / seconds)
        return max(1, min(fitting, sent // (OF_A_SHARE * max(1, workers))))
