"""The frames of one radio, made by the crew in playing order and kept as they come."""

from __future__ import annotations

from itertools import chain

from keyturn.flatten.frame_source import Source
from keyturn.package.animation import FrameStore
from keyturn.package.first_frames import first_frames, too_large_already, unreadable
from keyturn.package.flash_watch import WatchedCrew
from keyturn.package.frame import FrameDone, make_frame
from keyturn.package.player_ahead import PlayerAhead
from keyturn.package.radio_job import RadioJob
from keyturn.package.size_outlook import SizeOutlook
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Reason, Refused
from keyturn.workers.crew import end

BROKEN_SHOWN = 40
"""After this many broken pictures the rest is not read: the artist knows enough."""


def make_frames_of(
    job: RadioJob,
    store: FrameStore,
    ahead: PlayerAhead,
    crew: WatchedCrew,
    progress: Progress,
    numbers: dict[Source, int],
) -> FrameDone:
    """Make the frames into `store`, their player's pictures into `ahead`, note each source's picture number in
    `numbers`, and return the logo.

    Raise `Refused` with every broken picture.
    """
    sources = [source for part in job.plan.parts for source in part.sources]
    size = SizeOutlook(job.plan)
    first, hopeless = first_frames(job, size, crew, progress)
    if hopeless:
        known = [reason for done in first.values() if isinstance(done, Refused) for reason in done.reasons]
        raise Refused(dict.fromkeys([hopeless, *known, *unreadable(job, first, crew, progress)]))
    left = [source for source in dict.fromkeys(sources) if source not in first]
    frames = (job.frame(source, ahead.asked(source)) for source in left)
    results = crew.run(make_frame, chain([job.logo_frame()], frames), lambda frame: frame.source.name)
    broken: list[Reason] = []
    logo: FrameDone | Refused | None = None
    try:
        logo = next(results)  # it is shown first, so the flash check begins with it
        crew.watch.logo = None if isinstance(logo, Refused) else logo
        for source in sources:
            if source not in numbers:
                result = first.pop(source, None) or next(results)
                broken += result.reasons if isinstance(result, Refused) else ()
                numbers[source] = -1 if isinstance(result, Refused) else store.keep(result, source.name)
                if not isinstance(result, Refused):
                    size.add(source, result)
                    ahead.keep(numbers[source], result)
            if hopeless := too_large_already(job, size, store, first, crew):
                end(results)
                broken = [hopeless, *broken, *unreadable(job, numbers, crew, progress)]
            if hopeless or len(broken) >= BROKEN_SHOWN:
                break
            progress.frame()
    except Refused as over:  # the drop's time is up
        broken += over.reasons
    if broken or logo is None:
        raise Refused(dict.fromkeys(broken))
    if isinstance(logo, Refused):
        raise logo
    return logo
