"""How far frame work scales past one machine: costs measured on a real Dask cluster, workers simulated.

    python tests/benchmarks/scaling.py [--frames 48] [--kinds photographic flat photos clip] [--drops 6]

Measured a frame, with the jobs that the line itself makes of a drop: the task, the way there and back on the worker
(network, file, pipes), the processor time of the service with all that the line does (packing, keeping, judging,
papers) and of the scheduler, and the bytes each way. Every drop is new to service and workers. Simulated from these: 1
to 64 workers, and 100 drops of 24 frames on 32 of them; see `cluster_simulated`. One and two real workers on this
machine's own cores tell how true that is. Last comes what the death of a worker and of the scheduler costs a real
service; see `cluster_faults`.
"""

from __future__ import annotations

import argparse
import itertools
import operator
import os
import pickle
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import distributed
from loguru import logger

sys.path.insert(0, str(Path(__file__).parent))
import art
import cluster_faults
import grown
import measure
from cluster_processes import ClusterProcesses, a_cluster
from cluster_simulated import LINKS, Cluster, Costs, MessageCost, Work

from keyturn.commands import make_by_hand
from keyturn.package.frame import make_frame
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Workers
from keyturn.workers import remote_job
from keyturn.workers.cluster import ClusterCrew
from keyturn.workers.crew import Crew, InlineCrew, end
from keyturn.workers.job_messages import MOST_AT_ONCE

WORKERS = (1, 2, 4, 8, 12, 16, 24, 32, 48, 64)
MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\nfit = "cover"\n[motion]\nthin = true\n'
PAYS_FROM = 0.5
"""A further worker pays while it adds at least half of what the first one does."""


LONG = Work(drops=8, frames=240, at_once=2)
"""What the table of workers is about: two drops side by side, as the settings that ship have it."""

RUSH, RUSH_WORKERS, RUSH_SIDES = Work(drops=100, frames=24), 32, (1, 2, 4, 8, 16)
BAR = 0.8
"""A hundred drops of 24 frames on 32 workers are wanted with at least this share of the workers' time used."""

TRUE_WITHIN = 0.15
MESSAGES, MANY = 200, 32
"""So many messages tell what one costs, as they go to one worker and to many."""

FIRST, ROUNDS = 12, 2
"""Frames with which the cluster learns, and real runs of a drop then: the one that is disturbed least counts."""


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


RULES = rulebook.load()


def check(drop: Path, crew: Crew, kept: KeptResults | None = None) -> None:
    """The whole drop through the line."""
    flash = RULES.safety.flash.model_copy(update={"on_failure": "note"})
    quiet = RULES.model_copy(update={"safety": RULES.safety.model_copy(update={"flash": flash})})
    bench = Bench(quiet, crew, lambda: datetime.now(UTC), kept=kept)
    with suppress(Refused):  # the animation may be too large for the radio; its frames have been made all the same
        make_by_hand.check(drop, bench.for_one_drop())


class Clocking(InlineCrew):
    """A crew of a cluster that tells its messages, and the processor seconds while no job is under way."""

    def __init__(self, crew: ClusterCrew) -> None:
        self._crew, self._runs = crew, 0
        self.alone_s, self.messages, self._since = 0.0, 0, time.process_time()
        real = crew._packed

        def packed(*args: Any) -> Any:
            self.messages += 1
            return real(*args)

        crew._packed = packed  # type: ignore[method-assign]

    def begin(self) -> None:
        self.alone_s, self.messages, self._since = 0.0, 0, time.process_time()

    def finish(self) -> None:
        self.alone_s += time.process_time() - self._since

    def run(self, task: Any, jobs: Any, names: Any) -> Iterator[Any]:
        if not self._runs:
            self.finish()
        self._runs += 1
        results = self._crew.run(task, jobs, names)
        try:
            yield from results
        finally:
            end(results)
            self._runs -= 1
            self._since = time.process_time()

    def close(self) -> None:
        self._crew.close()


def least(clock: Callable[[], float], work: Callable[[], object], times: int = 2) -> float:
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


def processors_s() -> float:
    """Processor seconds of this process and those under it."""
    return time.process_time() + sum(map(measure.tree_cpu, grown.children(os.getpid())))


def hand_on_s(jobs: list[Any], limits: Workers) -> float:
    """Processor seconds a frame that a worker needs beside the task: file, pipe to its process, pipe back."""
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
        around = least(processors_s, lambda: [runner.run(pickled, files) for pickled, files in packed_jobs])
        runner.close()
    return max(0.0, around - least(time.process_time, lambda: [make_frame(job) for job in jobs])) / len(jobs)


@dataclass(frozen=True, slots=True)
class Run:
    """Seconds of one real run of a drop: of the clock, and of each process; `workers_s` without their tasks.

    `cluster_s` are those of scheduler and workers with all that they do, `busy_s` those of all processors, with
    whatever else ran on the machine. `alone_s` are those of the service while none of its jobs was under way.
    """

    wall_s: float
    service_s: float
    scheduler_s: float
    workers_s: float
    cluster_s: float
    busy_s: float
    alone_s: float
    messages: int

    @property
    def others(self) -> float:
        """How many cores did other work meanwhile."""
        return max(0.0, self.busy_s - self.service_s - self.cluster_s) / self.wall_s


@dataclass(slots=True)
class Measuring:
    """Runs on the cluster. Each run has its own copy of a drop in `folder`, and nothing kept."""

    cluster: ClusterProcesses
    folder: Path
    number: int = 0

    def run(self, drop: Path, crew: Clocking, most: int | None = None) -> Run:
        """Run the drop, or so many of its frames at most."""
        self.number += 1
        fresh = self.folder / str(self.number) / drop.name
        shutil.copytree(drop, fresh)
        for path in sorted((fresh / "art").iterdir())[most:] if most else ():
            path.unlink()
        kept = KeptResults(fresh.parent / "kept", 2**31)
        with distributed.Client(self.cluster.address, set_as_default=False) as asking:
            before = self._clocks(asking)
            crew.begin()
            check(fresh, crew, kept)
            crew.finish()
            spent = [after - then for then, after in zip(before, self._clocks(asking), strict=True)]
        shutil.rmtree(fresh.parent)
        return Run(*spent, crew.alone_s, crew.messages)

    def _clocks(self, asking: distributed.Client) -> tuple[float, ...]:
        workers = sum(asking.run(time.process_time).values())
        own = time.perf_counter(), time.process_time(), asking.run_on_scheduler(time.process_time)
        return *own, workers, self.cluster.cpu_s(), measure.busy_s()

    def best(self, drop: Path) -> Run:
        """The quickest of a few runs. A short one, in which crew and cluster learn, comes before them."""
        crew = Clocking(ClusterCrew(self.cluster.address, RULES.intake.workers))
        self.run(drop, crew, most=FIRST)
        runs = [self.run(drop, crew) for _ in range(ROUNDS)]
        crew.close()
        return min(runs, key=lambda run: run.wall_s)

    def message_costs(self) -> tuple[MessageCost, MessageCost]:
        """What a message and its answer cost the service and the scheduler."""
        service, scheduler = zip(self._message_s(1), self._message_s(MANY), strict=True)
        return MessageCost(*service), MessageCost(*scheduler)

    def _message_s(self, workers: int) -> tuple[float, float]:
        """Processor seconds of service and scheduler, for a message as the crew sends it to so many workers."""
        crew = ClusterCrew(self.cluster.address, RULES.intake.workers)
        crew._sizes.size = lambda task, sent, workers: 1  # type: ignore[method-assign]
        with distributed.Client(self.cluster.address, set_as_default=False) as asking:
            list(crew.run(operator.neg, range(20), str))
            crew._threads, crew._workers = workers, lambda: workers  # type: ignore[method-assign]
            before = self._clocks(asking)
            list(crew.run(operator.neg, range(MESSAGES), str))
            spent = [(after - then) / MESSAGES for then, after in zip(before, self._clocks(asking), strict=True)]
        crew.close()
        return spent[1], spent[2]


def costs_of(drop: Path, run: Run, message: tuple[MessageCost, MessageCost]) -> Costs:
    """The costs of a drop that one worker made in `run`."""
    noting = Noting()
    check(drop, noting)
    jobs = noting.jobs
    frames, per = len(jobs), run.messages / len(jobs)
    task_s, skip_s = task_costs(jobs)
    files = {job.source.path: job.source.path.stat().st_size for job in jobs}
    down = sum(len(pickle.dumps(make_frame(job))) for job in jobs)
    return Costs(
        task_s=task_s + noting.others_s / frames,
        skip_s=skip_s,
        way_s=hand_on_s(jobs, RULES.intake.workers) * noting.count / frames + run.workers_s / frames,
        alone_s=run.alone_s / frames,
        service_s=max(0.0, (run.service_s - run.alone_s) / frames - per * message[0].alone_s),
        message=message[0],
        scheduler_s=max(0.0, run.scheduler_s / frames - per * message[1].alone_s),
        scheduler_message=message[1],
        jobs=noting.count / frames,
        up_bytes=sum(files.values()) / frames,
        down_bytes=down / frames,
    )


# -- told ---------------------------------------------------------------------------------------------------


def pays_until(rates: dict[int, float]) -> int:
    """The most workers of which each, since the last step, adds at least `PAYS_FROM` of the first one's rate."""
    most = 1
    for fewer, more in itertools.pairwise(WORKERS):
        if (rates[more] - rates[fewer]) / (more - fewer) < PAYS_FROM * rates[1]:
            break
        most = more
    return most


def told_messages(service: MessageCost, scheduler: MessageCost) -> None:
    print(f"| ms a message and its answer | by itself | {MOST_AT_ONCE} at once |\n|---|---:|---:|")
    for who, cost in (("service", service), ("scheduler", scheduler)):
        print(f"| {who} | {1000 * cost.alone_s:.2f} | {1000 * cost.at_once_s:.2f} |")
    print()


def told_costs(costs: dict[str, Costs], runs: dict[str, Run], frames: int) -> None:
    print(
        "| a frame | task ms | ms more a frame left out | way ms | service ms, all | of it alone | in messages ", end=""
    )
    print("| scheduler ms, all | messages | KB there | KB back |\n|---|" + "---:|" * 10)
    for kind, c in costs.items():
        run, per = runs[kind], runs[kind].messages / frames
        told = (c.task_s, c.skip_s, c.way_s, run.service_s / frames, c.alone_s, per * c.message.alone_s)
        cells = [f"{1000 * s:.1f}" for s in (*told, run.scheduler_s / frames)]
        cells += [f"{per:.2f}", f"{c.up_bytes / 1000:.0f}", f"{c.down_bytes / 1000:.0f}"]
        print(f"| {kind} | " + " | ".join(cells) + " |")


def told_truth(costs: dict[str, Costs], real: dict[str, dict[int, Run]], frames: int, cores: int) -> None:
    """Real workers, and simulated ones on the cores that other work on the machine left."""
    print(f"\n| a drop of {frames} frames on {cores} cores, real workers beside the service | workers ", end="")
    print("| fps really | as simulated | real to simulated | cores that others took |\n|---|" + "---:|" * 5)
    for kind, runs in real.items():
        for workers, run in runs.items():
            simulated = Cluster(costs[kind], workers, float("inf")).rate(Work(1, frames), cores - run.others)
            fps = frames / run.wall_s
            far = "" if abs(fps / simulated - 1) <= TRUE_WITHIN else f", not within {TRUE_WITHIN:.0%}"
            cells = (f"{fps:.1f}", f"{simulated:.1f}", f"{fps / simulated:.2f}{far}", f"{run.others:.1f}")
            print(f"| {kind} | {workers} | " + " | ".join(cells) + " |")


def told_workers(costs: dict[str, Costs]) -> None:
    print(f"\n| frames a second, {LONG.at_once} drops at once, with workers: | ", end="")
    print(" | ".join(map(str, WORKERS)) + " | pays until |\n|---|" + "---:|" * (len(WORKERS) + 1))
    for kind, c in costs.items():
        for link, rate in LINKS.items():
            rates = {n: Cluster(c, n, rate).rate(LONG) for n in WORKERS}
            cells = " | ".join(f"{r:.0f}" if r >= 99.5 else f"{r:.1f}" for r in rates.values())
            print(f"| {kind}, {link} | {cells} | {pays_until(rates)} |")


def told_rush(costs: dict[str, Costs]) -> None:
    """Efficiency: the rate as a share of what the workers could do, if none of them ever waited."""
    print(f"\n| {RUSH.drops} drops of {RUSH.frames} frames on {RUSH_WORKERS} workers: efficiency with ", end="")
    print(
        " | ".join(f"{n} at once" for n in RUSH_SIDES)
        + f" | best is {BAR:.0%} |\n|---|"
        + "---:|" * (len(RUSH_SIDES) + 1)
    )
    for kind, c in costs.items():
        for link, rate in LINKS.items():
            ideal = RUSH_WORKERS / (c.task_s + c.way_s)
            shares = [Cluster(c, RUSH_WORKERS, rate).rate(Work(RUSH.drops, RUSH.frames, n)) / ideal for n in RUSH_SIDES]
            cells = " | ".join(f"{share:.0%}" for share in shares)
            print(f"| {kind}, {link} | {cells} | {'yes' if max(shares) >= BAR else 'no'} |")


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--frames", type=int, default=48)
    said.add_argument("--kinds", nargs="+", choices=art.KINDS, default=["photographic", "flat"])
    said.add_argument("--drops", type=int, default=6, help="that a service makes while the cluster has faults; or 0")
    wanted = said.parse_args()
    logger.remove()
    real: dict[str, dict[int, Run]] = {}
    with tempfile.TemporaryDirectory(prefix="keyturn-scaling-") as name:
        folder = Path(name)
        drops = {kind: drop_of(kind, folder, wanted.frames) for kind in wanted.kinds}
        with a_cluster(folder, 1) as cluster:
            measuring = Measuring(cluster, folder)
            message = measuring.message_costs()
            for workers in (1, 2):
                cluster.add_workers(workers - 1)
                for kind, drop in drops.items():
                    real.setdefault(kind, {})[workers] = measuring.best(drop)
        costs = {kind: costs_of(drop, real[kind][1], message) for kind, drop in drops.items()}
        cores, load = len(os.sched_getaffinity(0)), os.getloadavg()[1]
        print(f"{datetime.now(UTC):%Y-%m-%d}, {cores} cores under a load of {load:.1f}, {wanted.frames} frames\n")
        told_messages(*message)
        told_costs(costs, {kind: runs[1] for kind, runs in real.items()}, wanted.frames)
        told_truth(costs, real, wanted.frames, cores)
        told_workers(costs)
        told_rush(costs)
        sys.stdout.flush()
        if wanted.drops:
            cluster_faults.told(folder / "faults", wanted.drops, RUSH.frames)


if __name__ == "__main__":
    main()
