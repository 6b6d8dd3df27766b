"""One source made for several radios in one worker call: it is decoded, turned and colour-managed once.

The first radio's frames are asked for with the looks of the radios after it beside them. What a worker made for those
is kept with the other results (`workers.keeping_crew`), and each of them finds its frames there in its turn.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

from keyturn.flatten.frame_source import Source
from keyturn.normalize import decode
from keyturn.package.frame import FrameDone, FrameJob, Look, make_frame
from keyturn.package.radio_job import RadioJob
from keyturn.shop.reasons import Refused

BYTES_A_PIXEL = 2.0
"""A kept frame takes about so many bytes for each pixel of the panel: a grained photograph as PNG has 1.5."""

BUDGET_S = 20.0
"""After so many processor seconds no further look is begun: each radio's own call has a worker's whole time."""


def make_frames(jobs: tuple[FrameJob, ...]) -> tuple[FrameDone | None, ...]:
    """Return the frames of one source in several looks; None for one that was not made. Raise as `make_frame`.

    What the first raises is raised; another that fails is asked for again by itself.
    """
    first, *others = jobs
    if not others:
        return (make_frame(first),)
    start = time.process_time()
    with decode.shared():
        done: list[FrameDone | None] = [make_frame(first)]
        for job in others:
            done.append(_if_possible(job) if time.process_time() - start < BUDGET_S else None)
    return tuple(done)


def _if_possible(job: FrameJob) -> FrameDone | None:
    try:
        return make_frame(job)
    except Refused:
        return None


def jobs_beside(job: FrameJob) -> tuple[FrameJob, ...]:
    """Return the job's further looks as jobs of their own."""
    return tuple(replace(job, look=look, beside=()) for look in job.beside)


def with_looks_beside(jobs: Sequence[RadioJob], room: int) -> list[RadioJob]:
    """Return the radios' jobs, each with the looks in which the radios after it show the same sources.

    `room` is how many bytes of frames can be kept until their radio's turn comes. What is beyond is not made ahead.
    """
    made: list[RadioJob] = []
    later: dict[Source, dict[Look, None]] = {}
    for job in reversed(jobs):
        own, beside = job.look(), {}
        cost = BYTES_A_PIXEL * own.fit.size[0] * own.fit.size[1]
        for source in dict.fromkeys(source for part in job.plan.parts for source in part.sources):
            looks = later.setdefault(source, {})
            beside[source] = tuple(look for look in looks if look != own)
            if room >= cost and own not in looks:
                looks[own] = None
                room -= int(cost)
        made.append(replace(job, beside=beside))
    return made[::-1]
