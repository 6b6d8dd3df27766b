"""What the drop's pictures are, from their headers.

The service itself probes small files whose header plain Python reads. Large C libraries probe films, drawings and
phone photographs, so the crew does that: a file that crashes a library costs a worker, not the service. The crew probes
large files too: a clip is walked block by block, and a GiB of tiny blocks takes ten minutes.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from keyturn.normalize.reading import kinds, stills
from keyturn.normalize.reading.probe import Probe
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import Crew, InlineCrew

NEAR_MOST_BYTES, NEAR_MOST_IN_ALL = 8 * 2**20, 256 * 2**20
"""The service itself probes files up to the one size, and up to the other of one drop. A MiB of tiny blocks takes up to
0.7 s; asking a worker takes 5 ms."""


@dataclass(frozen=True, slots=True)
class ProbeJob:
    """A file to be probed; `name` is its path in the drop."""

    path: Path
    name: str
    intake: Intake


ProbeAll = Callable[[Sequence[ProbeJob]], Iterable[Probe | Refused]]


def look(job: ProbeJob) -> Probe:
    """Probe one file. Raise as `stills.probe` does."""
    return stills.probe(job.path, job.intake, name=job.name)


def by(crew: Crew) -> ProbeAll:
    """Return a function that has `crew` probe files. It yields a `Refused` for a file that is refused."""
    return lambda jobs: crew.run(look, jobs, lambda job: job.name)


here = by(InlineCrew())


def probed(
    root: Path, names: Iterable[str], intake: Intake, probe_all: ProbeAll, known: dict[str, Probe | Refused]
) -> tuple[dict[str, Probe], tuple[Reason, ...]]:
    """Return the probe of each name that is not refused, and the reasons of all, both in the order of the names.

    `probe_all` probes the kinds that the service itself must not. `known` holds what earlier calls found, and gets what
    this one finds.
    """
    wanted = list(dict.fromkeys(names))
    jobs = [ProbeJob(root / name, name, intake) for name in wanted if name not in known]
    near: list[ProbeJob] = []
    far: list[ProbeJob] = []
    left = NEAR_MOST_IN_ALL
    for job in jobs:
        kind, size = _kind_and_size(job.path)
        is_near = kind not in kinds.IN_A_WORKER and size <= min(NEAR_MOST_BYTES, left)
        (near if is_near else far).append(job)
        left -= size if is_near else 0
    known |= zip((job.name for job in [*near, *far]), [*here(near), *probe_all(far)], strict=True)
    ordered = [(name, known[name]) for name in wanted]
    probes = {name: result for name, result in ordered if not isinstance(result, Refused)}
    return probes, tuple(reason for _, result in ordered for reason in result.reasons)


def _kind_and_size(path: Path) -> tuple[str, int]:
    with path.open("rb") as file:
        return kinds.of(file.read(512)), os.fstat(file.fileno()).st_size
