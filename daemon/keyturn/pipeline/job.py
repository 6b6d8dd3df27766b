"""A drop on its way: opened, understood as a job, and made."""

from __future__ import annotations

from dataclasses import dataclass

from keyturn.inbox.survey import Survey
from keyturn.manifest.models import Manifest
from keyturn.renumber.parts import JobArt
from keyturn.renumber.plan import Plan
from keyturn.shop.file_names import safe_name
from keyturn.shop.reasons import Reason
from keyturn.shop.records import JobRecord, PlayerRecord, ProofRecord


@dataclass(frozen=True, slots=True)
class OpenedDrop:
    """A drop with its files listed and its manifest read; its archive, if it is one, is unpacked.

    `faults` are what `reading.read_leniently` says of the manifest. `mends` as in `Job`.
    """

    found: Survey
    reasons: tuple[Reason, ...]
    manifest: Manifest | None
    faults: tuple[Reason, ...]
    mends: str | None


@dataclass(frozen=True, slots=True)
class Job:
    """A drop understood: its files, its manifest, its art and a plan for each radio.

    `mends` is the claim under which it was refused before. `row` is the row of the fleet's table that it is made from,
    0 where it has none.
    """

    found: Survey
    manifest: Manifest
    name: str
    art: JobArt
    plans: tuple[Plan, ...]
    reasons: tuple[Reason, ...]
    mends: str | None = None
    row: int = 0

    @property
    def frame_count(self) -> int:
        """The frames of all its radios."""
        return sum(planned.frame_count for planned in self.plans)

    @property
    def customer_folder(self) -> str:
        return safe_name(self.manifest.customer)

    @property
    def job_folder(self) -> str:
        return safe_name(self.name)


@dataclass(frozen=True, slots=True)
class Made:
    """The records of a made revision: job.json, proof.json and player.json."""

    record: JobRecord
    proof: ProofRecord
    player: PlayerRecord
