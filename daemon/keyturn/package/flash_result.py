"""What the flash check finds in the pictures that were made, within the time that a drop may take."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.judge.calmer_rate import calmer_rate
from keyturn.judge.flash import PictureNumbers, flash_reasons, flash_record
from keyturn.judge.flash_place import flash_exhibits
from keyturn.package.animation import FrameStore
from keyturn.package.flash_watch import FlashWatch
from keyturn.package.radio_job import RadioJob
from keyturn.renumber.plan import Plan
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.records import FlashRecord


@dataclass(frozen=True, slots=True)
class FlashResult:
    """The figures, and what the artist is told where they are too high."""

    record: FlashRecord
    reasons: tuple[Reason, ...] = ()


def flash_result(
    job: RadioJob, numbers: PictureNumbers, store: FrameStore, progress: Progress, watch: FlashWatch
) -> FlashResult:
    """Judge what was made, from where `watch` has come to.

    Raise `Refused` where that takes too long, `Stopped` where the work is to stop."""
    rules, intake = job.rules.safety.flash, job.rules.intake
    most = intake.stages.judge

    def stop_if_too_long() -> None:
        progress.check()
        if progress.seconds() + watch.seconds > most:
            raise Refused([_too_long(most)])

    def cells(number: int) -> NDArray[np.uint16]:
        stop_if_too_long()
        return store.cells(number)

    def record_of(plan: Plan) -> FlashRecord:
        return flash_record(plan, numbers, cells, rules, store.pixels)

    stop_if_too_long()
    watch.follow(job.plan)
    record = watch.record(numbers, cells)
    if record.passes:
        return FlashResult(record)
    where = flash_exhibits(job.plan, numbers, cells, rules, record.worst_at_s)
    calmer = calmer_rate(job.plan, job.manifest, intake.motion.slowest_fps, lambda plan: record_of(plan).passes)
    return FlashResult(record, tuple(flash_reasons(record, rules, where, calmer)))


def _too_long(most: float) -> Reason:
    what = f"the flash check of this drop took longer than {most:,.0f} s"
    mend = "send fewer frames, or art that flickers less; the shop's rule can allow more"
    return refuse("drop-takes-too-long", what, mend)
