"""A cluster simulated from measured costs: one service, one scheduler, one network link and any number of workers.

A drop's results are taken in order from a window of two batches of jobs a worker, as `ClusterCrew` does it. Several
drops share service and workers. As many messages go and come at once as the crew allows, which is so where service or
scheduler are what all wait for. What a drop needs of the service while no job is under way is done before and after its
jobs.
"""

from __future__ import annotations

import heapq
import itertools
from collections import deque
from collections.abc import Generator
from dataclasses import dataclass

from keyturn.workers.batch_sizes import BatchSizes
from keyturn.workers.job_messages import MOST_AT_ONCE

LINKS = {"1 Gbit/s": 117e6, "10 Gbit/s": 1170e6}
"""Bytes a second of payload: 94 % of the line rate with 1500-byte frames (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class MessageCost:
    """Seconds of a message and its answer: by itself, and where as many as possible go and come at once."""

    alone_s: float
    at_once_s: float

    def seconds(self, at_once: int) -> float:
        """Return the seconds of one of so many: some of them are each message's own, the others are shared."""
        shared = (self.alone_s - self.at_once_s) / (1 - 1 / MOST_AT_ONCE)
        return self.alone_s - shared * (1 - 1 / at_once)


@dataclass(frozen=True, slots=True)
class Costs:
    """Seconds and bytes a frame; `message` and `scheduler_message` are of a message.

    `task_s` for every frame in a row, with its share of the drop's other jobs; `skip_s` more for each frame left out
    between two of one worker: it has to lay a clip's cels even of the frames that others make. `way_s` is what a worker
    spends on receiving all these jobs, handing them to its process and sending the results. `alone_s` is what the
    service needs while none of the drop's jobs is under way, `service_s` and `scheduler_s` what is neither that nor
    messages. A frame has `jobs` jobs. `up_bytes` and `down_bytes` are those of the frame's own job.
    """

    task_s: float
    skip_s: float
    way_s: float
    alone_s: float
    service_s: float
    message: MessageCost
    scheduler_s: float
    scheduler_message: MessageCost
    jobs: float
    up_bytes: float
    down_bytes: float

    def cpu_s(self, together: float) -> float:
        """Processor seconds of all machines for a frame that travels with others, `together` in a message."""
        messages = self.jobs / together * (self.message.alone_s + self.scheduler_message.alone_s)
        return self.task_s + self.way_s + self.alone_s + self.service_s + self.scheduler_s + messages


@dataclass(frozen=True, slots=True)
class Work:
    """What is simulated: so many drops of so many frames, `at_once` of them side by side."""

    drops: int
    frames: int
    at_once: int = 1

    @property
    def all_frames(self) -> int:
        return self.drops * self.frames


class Cluster:
    """One run of some work. Whoever wants a station waits until those before have gone; times are seconds."""

    def __init__(self, costs: Costs, workers: int, link: float) -> None:
        self._costs, self._workers, self._link = costs, workers, link
        self._busy = {"service": 0.0, "up": 0.0, "scheduler": 0.0}
        self._free = [0.0] * workers  # when each worker is free
        self._sizes = BatchSizes()
        self._messages = 0
        at_once = max(1, min(MOST_AT_ONCE, workers // 2))
        self._message_s = costs.jobs * costs.message.seconds(at_once)
        self._scheduler_message_s = costs.jobs * costs.scheduler_message.seconds(at_once)

    def rate(self, work: Work, cores: float = float("inf")) -> float:
        """Return frames a second. `cores` is how many all machines have together, where one drop is made at a time."""
        end = self._end(work)
        together = work.all_frames / self._messages
        costs = self._costs
        return work.all_frames / max(
            end,
            work.all_frames * costs.down_bytes / self._link,
            work.all_frames * (costs.alone_s + (costs.cpu_s(together) - costs.alone_s) / cores),
        )

    def _end(self, work: Work) -> float:
        left = iter(range(work.drops))
        going = [(0.0, place, self._some_drops(left, work.frames)) for place in range(work.at_once)]
        now = 0.0
        for _, _, drops in going:
            next(drops)
        while going:  # whose time comes first goes on
            now, place, drops = heapq.heappop(going)
            try:
                heapq.heappush(going, (drops.send(now), place, drops))
            except StopIteration:
                continue
        return now

    def _some_drops(self, left: itertools.chain[int], frames: int) -> Generator[float, float, None]:
        """Make drops one after another. Yield when to go on, and get the time then."""
        now = yield 0.0
        for _ in left:
            now = yield self._pass("service", now, frames * self._costs.alone_s / 2)
            now = yield from self._jobs(now, frames)
            now = yield self._pass("service", now, frames * self._costs.alone_s / 2)

    def _jobs(self, now: float, frames: int) -> Generator[float, float, float]:
        window: deque[tuple[float, int]] = deque()  # when the results that are awaited have come, and how many
        sent = 0
        while sent < frames or window:
            if sent < frames and len(window) < 2 * self._workers:
                together = min(frames - sent, self._sizes.size("make_frame", sent, self._workers))
                now = yield self._pass("service", now, self._service_s(together))
                window.append((self._made(now, together), together))
                sent += together
            else:
                come, together = window.popleft()
                now = yield max(now, come)
                now = yield self._pass("service", now, self._service_s(together))
                self._sizes.learn("make_frame", 1, self._costs.task_s)
        return now

    def _service_s(self, together: int) -> float:
        """Return what half of a batch's way through the service takes: it goes out and comes back."""
        return (together * self._costs.service_s + self._message_s) / 2

    def _made(self, now: float, together: int) -> float:
        """Return when the results of a batch sent `now` are back."""
        costs = self._costs
        self._messages += 1
        at = self._pass("up", now, together * costs.up_bytes / self._link)
        at = self._pass("scheduler", at, together * costs.scheduler_s + self._scheduler_message_s)
        skipped_s = (self._workers - 1) * costs.skip_s  # the batches of the others lie between this one and the last
        at = max(at, heapq.heappop(self._free)) + together * (costs.task_s + skipped_s + costs.way_s)
        heapq.heappush(self._free, at)
        return at + together * costs.down_bytes / self._link

    def _pass(self, station: str, ready: float, seconds: float) -> float:
        self._busy[station] = max(self._busy[station], ready) + seconds
        return self._busy[station]
