"""What the drop's pictures are, from their headers.

The service looks itself where plain Python reads the header. Films, drawings and phone photographs are looked into
by large libraries of other people's, so that is the crew's work: what defeats one costs a worker, not the service.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from keyturn.normalize.reading import kinds, stills
from keyturn.normalize.reading.stills import Probe
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import Crew, InlineCrew


@dataclass(frozen=True, slots=True)
class Unknown:
    """A file to be looked into; `name` is its path in the drop."""

    path: Path
    name: str
    intake: Intake


ProbeAll = Callable[[Sequence[Unknown]], Iterable[Probe | Refused]]


def look(job: Unknown) -> Probe:
    """Raises as `stills.probe`."""
    return stills.probe(job.path, job.intake, name=job.name)


def by(crew: Crew) -> ProbeAll:
    return lambda jobs: crew.run(look, jobs, lambda job: job.name)


here = by(InlineCrew())


def probed(
    root: Path, names: Iterable[str], intake: Intake, probe_all: ProbeAll, reasons: list[Reason]
) -> dict[str, Probe]:
    """Each name's probe, in the order of the names; the reasons of all are added to `reasons`."""
    jobs = [Unknown(root / name, name, intake) for name in dict.fromkeys(names)]
    near: list[Unknown] = []
    far: list[Unknown] = []
    for job in jobs:
        (far if _kind(job.path) in kinds.IN_A_WORKER else near).append(job)
    results = dict(zip((job.name for job in [*near, *far]), [*here(near), *probe_all(far)], strict=True))
    probes = {}
    for job in jobs:
        result = results[job.name]
        reasons += result.reasons
        if not isinstance(result, Refused):
            probes[job.name] = result
    return probes


def _kind(path: Path) -> str:
    with path.open("rb") as file:
        return kinds.of(file.read(512))
