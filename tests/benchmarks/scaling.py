"""How far frame work scales past one machine: costs measured on a real Dask cluster, workers simulated.

    python tests/benchmarks/scaling.py [--frames 48] [--kinds photographic flat photos clip]

Measured a frame, with the jobs that the line itself makes of a drop: the task, the way there and back on the worker
(network, file, pipes), the processor time of the service with all that the line does (packing, judging, papers) and
of the scheduler, and the bytes each way. Simulated from these: one service, one scheduler, one network link, 1 to 64
workers, results taken in order from a window of two batches of jobs a worker, as `ClusterCrew` does it.
"""

from __future__ import annotations

import argparse
import heapq
import itertools
import os
import pickle
import subprocess
import sys
import tempfile
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import distributed
from loguru import logger

sys.path.insert(0, str(Path(__file__).parent))
import art

from keyturn.commands import make_by_hand
from keyturn.package.frame import make_frame
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Workers
from keyturn.workers import remote_job
from keyturn.workers.batch_sizes import BatchSizes
from keyturn.workers.cluster import ClusterCrew
from keyturn.workers.crew import Crew, InlineCrew

WORKERS = (1, 2, 4, 8, 12, 16, 24, 32, 48, 64)
LINKS = {"1 Gbit/s": 117e6, "10 Gbit/s": 1170e6}
"""Bytes a second of payload: 94 % of the line rate with 1500-byte frames (common practice, no source)."""

MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\nfit = "cover"\n[motion]\nthin = true\n'
PAYS_FROM = 0.5
"""A further worker pays while it adds at least half of what the first one does."""


@dataclass(frozen=True, slots=True)
class Costs:
    """Seconds and bytes a frame. `task_s` for every frame in a row, with its share of the drop's other jobs; `skip_s`
    more for each frame left out between two of one worker: it has to lay a clip's cels even of the frames that others
    make. `way_s` is what a worker spends on receiving all these jobs, handing them to its process and sending the
    results. `up_bytes` and `down_bytes` are those of the frame's own job."""

    task_s: float
    skip_s: float
    way_s: float
    service_s: float
    scheduler_s: float
    up_bytes: float
    down_bytes: float


# -- measured -------------------------------------------------------------------------------------------


class Noting(InlineCrew):
    """Notes the frame jobs that the line makes of a drop, while it makes them.

    `count` are all its jobs. `others_s` are the processor seconds of those that make no frame: files looked at, small
    pictures for the sheet.
    """

    def __init__(self) -> None:
        self.jobs: list[Any] = []
        self.count = 0
        self.others_s = 0.0

    def run(self, task: Any, jobs: Any, names: Any) -> Iterator[Any]:
        kept = list(jobs)
        self.count += len(kept)
        if task is make_frame and not self.jobs:
            self.jobs = kept
        results = super().run(task, kept, names)
        return results if task is make_frame else self._timed(results)

    def _timed(self, results: Iterator[Any]) -> Iterator[Any]:
        began = time.process_time()
        for result in results:
            self.others_s += time.process_time() - began
            yield result
            began = time.process_time()


def drop_of(kind: str, folder: Path, frames: int) -> Path:
    drop = folder / kind
    art.write(kind, drop / "art", frames)
    (drop / "job.toml").write_text(MANIFEST)
    return drop


def check(drop: Path, crew: Crew) -> None:
    """The whole drop through the line."""
    rules = rulebook.load()
    flash = rules.safety.flash.model_copy(update={"on_failure": "note"})
    quiet = rules.model_copy(update={"safety": rules.safety.model_copy(update={"flash": flash})})
    with suppress(Refused):  # the animation may be too large for the radio; its frames have been made all the same
        make_by_hand.check(drop, Bench(quiet, crew, lambda: datetime.now(UTC)))


def least(clock: Callable[[], float], work: Callable[[], object], times: int = 3) -> float:
    """Seconds by `clock`. The least of a few: whatever else runs on the machine only ever adds."""

    def once() -> float:
        start = clock()
        work()
        return clock() - start

    return min(once() for _ in range(times))


def task_costs(jobs: list[Any]) -> tuple[float, float]:
    """Processor seconds a frame in a row, and more for each frame left out: a straight line through strides 1, 4."""

    def each(stride: int) -> float:
        chosen = jobs[::stride]
        return least(time.process_time, lambda: [make_frame(job) for job in chosen]) / len(chosen)

    in_a_row = each(1)
    return in_a_row, max(0.0, (each(4) - in_a_row) / 3) if jobs[0].source.index is not None else 0.0


def hand_on_s(jobs: list[Any], limits: Workers) -> float:
    """Seconds a frame that a worker's thread needs beside the task: file, pipe to its process, pipe back."""
    packed_jobs = []
    for job in jobs:
        files: dict[str, bytes] = {}

        def enclose(path: Path, files: dict[str, bytes] = files) -> str:
            files[path.name] = path.read_bytes()
            return path.name

        packed_jobs.append((remote_job.packed((limits, "", make_frame, [job], [job.source.name]), enclose), files))
    with tempfile.TemporaryDirectory() as folder:
        runner = remote_job.JobRunner(folder)
        runner.run(*packed_jobs[0])
        around = least(time.perf_counter, lambda: [runner.run(pickled, files) for pickled, files in packed_jobs])
        runner.close()
    return max(0.0, around - least(time.perf_counter, lambda: [make_frame(job) for job in jobs])) / len(jobs)


@contextmanager
def one_worker() -> Iterator[str]:
    """A scheduler and a worker in processes of their own: what each costs can be told apart."""
    with tempfile.TemporaryDirectory() as scratch:
        where = Path(scratch) / "scheduler.json"
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": scratch}
        base = [sys.executable, "-m", "distributed.cli.dask_"]

        def start(program: str, *args: str) -> subprocess.Popen[bytes]:
            return subprocess.Popen([*base[:-1], base[-1] + program, *args], **quiet)  # type: ignore[call-overload]

        running = [start("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(where))]
        try:
            while not where.exists():
                time.sleep(0.1)
            running.append(start("worker", "--scheduler-file", str(where), "--nthreads", "1"))
            with distributed.Client(scheduler_file=str(where), set_as_default=False) as client:
                client.wait_for_workers(1, timeout=60)
                yield client.scheduler.address
        finally:
            for process in reversed(running):
                process.terminate()
                process.wait()


def measured(drop: Path, address: str) -> tuple[Costs, float]:
    """The costs, and frames a second of one real worker of the cluster with all that the line does beside."""
    noting = Noting()
    check(drop, noting)
    jobs, limits = noting.jobs, rulebook.load().intake.workers
    task_s, skip_s = task_costs(jobs)
    task_s += noting.others_s / len(jobs)
    crew = ClusterCrew(address, limits)
    with distributed.Client(address, set_as_default=False) as asking:

        def clocks() -> tuple[float, float, float, float]:
            (worker,) = asking.run(time.process_time).values()
            return time.perf_counter(), time.process_time(), asking.run_on_scheduler(time.process_time), worker

        check(drop, crew)
        before = clocks()
        check(drop, crew)
        real_s, service_s, scheduler_s, worker_s = (
            (after - then) / len(jobs) for then, after in zip(before, clocks(), strict=True)
        )
    crew.close()
    files = {job.source.path: job.source.path.stat().st_size for job in jobs}
    down = sum(len(pickle.dumps(make_frame(job))) for job in jobs)
    way_s = hand_on_s(jobs, limits) * noting.count / len(jobs) + worker_s
    sizes = (sum(files.values()) / len(jobs), down / len(jobs))
    return Costs(task_s, skip_s, way_s, service_s, scheduler_s, *sizes), 1 / real_s


# -- simulated ------------------------------------------------------------------------------------------


def throughput(costs: Costs, workers: int, link: float, frames: int = 2000) -> float:
    """Frames a second: each batch takes its turn at the service, the link, the scheduler and a worker, and back.

    `costs` are of batches as one worker gets them. More workers get smaller ones, whose messages cost more a frame:
    that is not counted.
    """
    sizes = BatchSizes()
    busy = {"service": 0.0, "up": 0.0, "scheduler": 0.0}
    free = [0.0] * workers  # when each worker is free
    window: deque[tuple[float, int]] = deque()  # when the results that are awaited have come, in order, and how many
    taken, sent = 0.0, 0

    def pass_through(station: str, ready: float, seconds: float) -> float:
        busy[station] = max(busy[station], ready) + seconds
        return busy[station]

    def take() -> float:
        come, together = window.popleft()
        sizes.learn("make_frame", 1, costs.task_s)
        return pass_through("service", max(taken, come), together * costs.service_s / 2)

    while sent < frames:
        if len(window) >= 2 * workers:
            taken = take()
        together = min(frames - sent, sizes.size("make_frame", sent, workers))
        sent += together
        at = pass_through("service", taken, together * costs.service_s / 2)
        at = pass_through("up", at, together * costs.up_bytes / link)
        at = pass_through("scheduler", at, together * costs.scheduler_s)
        skipped_s = (workers - 1) * costs.skip_s  # the batches of the others lie between this one and the last
        at = max(at, heapq.heappop(free)) + together * (costs.task_s + skipped_s + costs.way_s)
        heapq.heappush(free, at)
        window.append((at + together * costs.down_bytes / link, together))
    while window:
        taken = take()
    return frames / max(taken, frames * costs.down_bytes / link)


def pays_until(rates: dict[int, float]) -> int:
    """The most workers of which each, since the last step, adds at least `PAYS_FROM` of the first one's rate."""
    most = 1
    for fewer, more in itertools.pairwise(WORKERS):
        if (rates[more] - rates[fewer]) / (more - fewer) < PAYS_FROM * rates[1]:
            break
        most = more
    return most


# -- told ---------------------------------------------------------------------------------------------------


def row(kind: str, costs: Costs, link: str) -> str:
    rates = {n: throughput(costs, n, LINKS[link]) for n in WORKERS}
    cells = " | ".join(f"{rates[n]:.0f}" if rates[n] >= 99.5 else f"{rates[n]:.1f}" for n in WORKERS)
    return f"| {kind}, {link} | {cells} | {pays_until(rates)} |"


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--frames", type=int, default=48)
    said.add_argument("--kinds", nargs="+", choices=art.KINDS, default=["photographic", "flat", "photos", "clip"])
    wanted = said.parse_args()
    logger.remove()
    costs: dict[str, tuple[Costs, float]] = {}
    with tempfile.TemporaryDirectory() as folder, one_worker() as address:
        for kind in wanted.kinds:
            costs[kind] = measured(drop_of(kind, Path(folder), wanted.frames), address)
    cores, load = len(os.sched_getaffinity(0)), os.getloadavg()[1]
    print(f"{datetime.now(UTC):%Y-%m-%d}, {cores} cores under a load of {load:.1f}, {wanted.frames} frames of a kind\n")
    print(
        "| a frame | task ms | ms more a frame left out | way ms | service ms | scheduler ms | KB there | KB back "
        "| 1 worker: fps really | as simulated |"
    )
    print("|---|" + "---:|" * 9)
    for kind, (c, real) in costs.items():
        ms = (c.task_s, c.skip_s, c.way_s, c.service_s, c.scheduler_s)
        told = " | ".join(f"{1000 * s:.1f}" for s in ms)
        kb = f"{c.up_bytes / 1000:.0f} | {c.down_bytes / 1000:.0f}"
        alone = throughput(c, 1, float("inf"))
        print(f"| {kind} | {told} | {kb} | {real:.1f} | {alone:.1f} |")
    print("\n| frames a second with workers: | " + " | ".join(map(str, WORKERS)) + " | pays until |")
    print("|---|" + "---:|" * (len(WORKERS) + 1))
    for kind, (c, _) in costs.items():
        for link in LINKS:
            print(row(kind, c, link))


if __name__ == "__main__":
    main()
