"""A clip in the radio's time: which of its pictures a part shows, and which are doubled or left out.

Pure arithmetic. Which picture each frame shows is computed by `clips.resample`.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate

from keyturn.manifest.models import FILE_NAME, Part
from keyturn.normalize.reading import picture_faults
from keyturn.normalize.reading.file_reasons import named
from keyturn.normalize.reading.probe import Probe
from keyturn.shop.reasons import Reason, note, refuse

JITTER_MS = 10
"""The pictures of an even clip differ by at most this much: GIF counts hundredths of a second."""

UNSEEN_CHANGE = 0.05
"""The share by which a clip's length may change unseen. Film at 24 pictures a second has long been shown at
television's 25, 4 % faster (common practice, no source)."""


def pictures_between(durations_ms: Sequence[int], start_s: float, stop_s: float | None) -> range:
    """Return the indices of the clip's pictures that are seen between the two times; empty beyond the clip's end.

    Without `stop_s` the clip is shown to its end.
    """
    ends = list(accumulate(durations_ms))
    stop_ms = ends[-1] if stop_s is None else min(ends[-1], stop_s * 1000)
    if start_s * 1000 >= stop_ms:
        return range(0)
    return range(bisect_right(ends, start_s * 1000), bisect_left(ends, stop_ms) + 1)


def can_show_each_once(durations_ms: Sequence[int], pictures: range, lasts_s: float, rate: float) -> bool:
    """Whether each of `pictures`, which last `lasts_s` in the clip, may be shown for one frame at `rate` a second.

    A doubled or missing picture is seen as a stumble. That an even clip lasts a twentieth longer or shorter is not
    seen, so it is shown picture by picture where that is near enough.
    """
    even = _is_even([durations_ms[index] for index in pictures])
    return even and abs(len(pictures) / rate - lasts_s) <= UNSEEN_CHANGE * lasts_s


def _is_even(durations_ms: Sequence[int]) -> bool:
    return max(durations_ms) - min(durations_ms) <= JITTER_MS


def cut_reasons(
    part: Part, number: int, names: Sequence[str], probes: Mapping[str, Probe], most: int
) -> Iterator[Reason]:
    """Yield what is wrong with `start` and `stop` of part `number`, and with a clip of more than `most` pictures."""
    found = [probes[name] for name in names if name in probes]
    if len(found) < max(1, len(names)):
        return  # refused already, or missing
    field = f"part.{number}.{'stop' if part.start is None else 'start'}"
    durations = found[0].durations_ms
    if len(names) > 1 or not durations:
        if part.start is not None or part.stop is not None:
            what = f'"{part.art}" does not move, so there is no time to cut it by'
            yield refuse("stretch-of-still", what, "take start and stop out", file=FILE_NAME, field=field)
        return
    whole_s = sum(durations) / 1000
    pictures = pictures_between(durations, part.start or 0.0, part.stop)
    if not pictures:
        what = f"start = {part.start:g} is not before the end of {names[0]}, which lasts {whole_s:.2f} s"
        yield refuse("start-beyond-end", what, "start earlier", file=FILE_NAME, field=field)
    elif part.stop is not None and part.stop * 1000 > sum(durations) + JITTER_MS:
        what = f"stop = {part.stop:g}, but {names[0]} ends at {whole_s:.2f} s; it plays to its end"
        yield note("stop-beyond-end", what, file=FILE_NAME, field=f"part.{number}.stop")
    if len(pictures) > most:
        cut = ", or take a stretch of it by start and stop, in seconds"
        yield from named([picture_faults.too_long(most, cut=cut)], names[0])


def retiming_note(
    name: str, durations_ms: Sequence[int], pictures: range, shown: Sequence[int], rate: float
) -> Reason | None:
    """Return a note that counts the doubled and left-out pictures of clip `name`.

    `shown` is the picture shown in each frame, at `rate` frames a second, of the clip's `pictures`. Return None where
    the clip is even and each picture is shown once.
    """
    times = Counter(shown)
    doubled = sum(times[index] > 1 for index in pictures)
    left_out = sum(not times[index] for index in pictures)
    durations = [durations_ms[index] for index in pictures]
    uneven = not _is_even(durations)
    if not (doubled or left_out or uneven):
        return None
    each = f"{min(durations)} to {max(durations)} ms" if uneven else f"{durations[len(durations) // 2]} ms"
    what = (
        f"its {len(durations)} pictures stand {each} each, and the radio shows one every {1000 / rate:.0f} ms: "
        f"they make {len(shown)} frames, {len(durations) - left_out} are shown, {doubled} of them more than once, "
        f"and {left_out} left out"
    )
    return note("clip-retimed", what, file=name)
