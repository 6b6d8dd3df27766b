"""A few frames are made first: they tell whether the animation can be small enough for its radio at all.

Making all frames of noise takes minutes, and then they are refused. Frames made first are not made again.
"""

from __future__ import annotations

from collections.abc import Sequence

from keyturn.flatten.frame_source import Source
from keyturn.judge.sizes import about_zip_reason
from keyturn.package.fit_size import QUALITIES, takes_jpeg
from keyturn.package.frame import FrameDone, make_frame
from keyturn.package.picture_tasks import Check, check
from keyturn.package.radio_job import RadioJob
from keyturn.package.repack import Recode, recode
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.units import MIB
from keyturn.workers.crew import Crew

FIRST = 8
"""So many frames, evenly spaced, are made first, of jobs with at least four times as many."""

HOPELESS = 3.0
"""Beyond so many times the radio's limit nothing helps: the most that harder packing has been seen to save is a third.
Keyturn's own choice."""

Done = dict[Source, FrameDone | Refused]


def first_frames(job: RadioJob, sources: Sequence[Source], crew: Crew) -> Done:
    """Make a few of the sources; return what became of them.

    There are none where frames may be left out to fit, or where a clip would have to be decoded twice.
    """
    distinct = list(dict.fromkeys(sources))
    is_clip = any(source.index is not None for source in distinct)
    if job.manifest.motion.thin or is_clip or len(distinct) < 4 * FIRST:
        return {}
    chosen = [distinct[place] for place in evenly_spaced(len(distinct), FIRST)]
    results = crew.run(make_frame, map(job.frame, chosen), lambda frame: frame.source.name)
    return dict(zip(chosen, results, strict=True))


def stop_if_hopeless(job: RadioJob, sources: Sequence[Source], first: Done, crew: Crew) -> None:
    """Raise `Refused` where the first frames show that all could never fit, with every picture that cannot be read."""
    made = [done for done in first.values() if not isinstance(done, Refused)]
    if not made:
        return
    each = sum(_smallest(made, takes_jpeg(job.plan.radio), crew)) / len(made)
    expected, limit = each * len(sources), job.plan.radio.limits.zip_mib * MIB
    if expected <= HOPELESS * limit:
        return
    told = about_zip_reason(job.plan, round(expected), int(limit / each), len(made))
    raise Refused([told, *_broken(job, sources, first, crew)])


def _smallest(made: Sequence[FrameDone], as_jpeg: bool, crew: Crew) -> list[int]:
    """Return the bytes of each frame's smallest file, as far as they are known before all frames are."""
    sizes = [min(len(done.data), len(done.cropped.data) if done.cropped else len(done.data)) for done in made]
    if not as_jpeg:
        return sizes
    results = crew.run(recode, [Recode(done.data, QUALITIES[-1], "") for done in made], lambda job: job.name)
    lossy = [size if isinstance(r, Refused) else len(r.data) for size, r in zip(sizes, results, strict=True)]
    return list(map(min, sizes, lossy))


def _broken(job: RadioJob, sources: Sequence[Source], first: Done, crew: Crew) -> list[Reason]:
    """Return the reasons of pictures that cannot be read, so that the artist can mend all at once."""
    files = {source.path: source for source in sources if source.path and source not in first}
    jobs = [Check(Source(path, source.name), job.rules.intake) for path, source in files.items()]
    results = [*first.values(), *crew.run(check, jobs, lambda one: one.source.name)]
    return [reason for result in results if isinstance(result, Refused) for reason in result.reasons]
