"""A few frames are made first: they tell whether the animation can be small enough for its radio at all.

Making all frames of noise takes minutes, and then they are refused. Frames made first are not made again.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from typing import TypeVar

from keyturn.flatten.frame_source import Source
from keyturn.judge.sizes import about_zip_reason
from keyturn.package.animation import FrameStore, StoredFile
from keyturn.package.frame import FrameDone, make_frame
from keyturn.package.picture_tasks import Check, check_undamaged
from keyturn.package.radio_job import RadioJob
from keyturn.package.size_outlook import SizeOutlook
from keyturn.package.smaller import SAMPLED
from keyturn.shop.evenly_spaced import evenly_spaced, spread_by_chance
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Reason, Refused
from keyturn.workers.crew import Crew

FIRST = 8
"""So many frames, spread by chance, are made first, of jobs with at least four times as many."""

ROUNDS = 4
"""Where they cannot tell, so many more are made up to so often, but no more than a quarter of all."""

CHANCE = 0.001
"""Where the chance that it fits after all is no greater, an animation is refused: after 8 frames where it would be 2.4
times too large, after 16 where 1.6 times, after 32 where 1.25 times. Keyturn's own choice."""

Done = dict[Source, FrameDone | Refused]


def first_frames(job: RadioJob, size: SizeOutlook, crew: Crew, progress: Progress) -> tuple[Done, Reason | None]:
    """Make a few frames; return what became of each source, and the refusal where they show that all could never fit.

    There are none where frames may be left out to fit, or where a clip would have to be decoded twice. `size` gets to
    know of each. Raise `Stopped` where the work is to stop.
    """
    done: Done = {}
    sources, rounds = size.sources, min(ROUNDS, len(size.sources) // (4 * FIRST))
    if job.manifest.motion.thin or not rounds or any(source.index is not None for source in sources):
        return done, None
    looked_into = False
    for places in spread_by_chance(len(sources), FIRST, rounds):
        chosen = [sources[place] for place in places]
        results = crew.run(make_frame, map(job.frame, chosen), lambda frame: frame.source.name)
        for source, result in zip(chosen, results, strict=True):
            done[source] = result
            if not isinstance(result, Refused):
                size.add(source, result)
            progress.check()
        if not looked_into and _hopeless(size):
            size.look_into([frame.data for frame in _few(_made(done))], crew, lambda: _hopeless(size))
            looked_into = True
        if _hopeless(size):
            return done, _told(job, size)
        if size.chance(rounds * FIRST) > CHANCE:
            break
    return done, None


def _hopeless(size: SizeOutlook) -> bool:
    return size.chance() <= CHANCE


def too_large_already(job: RadioJob, size: SizeOutlook, store: FrameStore, first: Done, crew: Crew) -> Reason | None:
    """Return the refusal where the frames in `store` and those of `first`, a part of all, are too large whatever is
    done to them.

    What harder packing would save of them is found out anew each time that it comes to that. Of short jobs, and where
    little is left to be made, all is made: then the checks can tell what else is wrong.
    """
    left = len(size.sources) - size.made
    if job.manifest.motion.thin or len(size.sources) < 4 * FIRST or left < len(size.sources) / FIRST:
        return None
    if size.is_too_large():
        made: list[FrameDone | StoredFile] = [*store.whole.values(), *_made(first)]
        files = [frame.data if isinstance(frame, FrameDone) else store.read(frame) for frame in _few(made)]
        size.look_into(files, crew, size.is_too_large)
    return _told(job, size) if size.is_too_large() else None


def _made(done: Done) -> list[FrameDone]:
    return [result for result in done.values() if not isinstance(result, Refused)]


F = TypeVar("F", bound=FrameDone | StoredFile)


def _few(made: Sequence[F]) -> list[F]:
    """Return a few that show what harder packing can save: of photographs next to nothing, so half of them are none."""
    photographs = [frame for frame in made if frame.photographic]
    others = [frame for frame in made if not frame.photographic]
    kinds = [kind for kind in (photographs, others) if kind]
    return [kind[place] for kind in kinds for place in evenly_spaced(len(kind), SAMPLED // 2)]


def _told(job: RadioJob, size: SizeOutlook) -> Reason:
    expected = size.expected()
    return about_zip_reason(job.plan, round(expected), int(job.plan.frame_count * size.limit / expected), size.made)


def others_too_large(refused: Refused, jobs: Iterable[RadioJob], crew: Crew, progress: Progress) -> list[Reason]:
    """Return the refusals of the other radios of a job whose first frames show the same, so that all are told at once.

    There are none where `refused` is not about the size.
    """
    if all(reason.code != "zip-too-large" for reason in refused.reasons):
        return []
    try:
        looks = [first_frames(job, SizeOutlook(job.plan), crew, progress) for job in jobs]
    except Refused:  # the drop's time is up; what is wrong is known
        return []
    return [told for _, told in looks if told]


def unreadable(job: RadioJob, known: Container[Source], crew: Crew, progress: Progress) -> list[Reason]:
    """Return the reasons of pictures that did not come whole, so that the artist can mend all at once.

    Those that are `known` are not read again. Where the drop's time is up, the refusal that says so is the last one.
    """
    sources = (source for part in job.plan.parts for source in part.sources)
    files = {source.path: source.name for source in sources if source.path and source not in known}
    jobs = [Check(Source(path, name), job.rules.intake) for path, name in files.items()]
    broken: list[Reason] = []
    try:
        for result in crew.run(check_undamaged, jobs, lambda one: one.source.name):
            progress.check()
            broken += result.reasons if isinstance(result, Refused) else ()
    except Refused as over:
        broken += over.reasons
    return broken
