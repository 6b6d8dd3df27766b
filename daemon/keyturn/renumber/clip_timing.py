"""A clip in the radio's time: the stretch of it that a part shows, and what its pictures go through.

Pure arithmetic; which picture a beat shows is `clips.resample`'s affair.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate

from keyturn.manifest.models import FILE_NAME, Part
from keyturn.normalize.reading import picture_faults
from keyturn.normalize.reading.stills import Probe
from keyturn.shop.reasons import Reason, note, refuse

JITTER_MS = 10
"""By so much the pictures of an even clip may differ: GIF counts hundredths of a second."""

NEAR = 0.05
"""Film at 24 pictures a second has long been shown at television's 25, 4 % faster (common practice, no source)."""


def stretch(durations_ms: Sequence[int], start_s: float, stop_s: float | None) -> range:
    """The pictures of which something is seen between the two times; empty beyond the end."""
    ends = list(accumulate(durations_ms))
    stop_ms = ends[-1] if stop_s is None else min(ends[-1], stop_s * 1000)
    if start_s * 1000 >= stop_ms:
        return range(0)
    return range(bisect_right(ends, start_s * 1000), bisect_left(ends, stop_ms) + 1)


def keeps_pace(durations_ms: Sequence[int], frames: range, lasts_s: float, rate: float) -> bool:
    """May each of the pictures `frames` be shown once, at `rate` a second, for a stretch that lasts `lasts_s`?

    A doubled or missing picture is a stumble; that an even clip lasts a twentieth longer or shorter is not seen.
    """
    even = _is_even([durations_ms[index] for index in frames])
    return even and abs(len(frames) / rate - lasts_s) <= NEAR * lasts_s


def _is_even(stand: Sequence[int]) -> bool:
    return max(stand) - min(stand) <= JITTER_MS


def stretch_reasons(
    part: Part, number: int, names: Sequence[str], probes: Mapping[str, Probe], most: int
) -> Iterator[Reason]:
    """What stands against `start` and `stop`, and against a clip's length."""
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
    frames = stretch(durations, part.start or 0.0, part.stop)
    if not frames:
        what = f"start = {part.start:g} is not before the end of {names[0]}, which lasts {whole_s:.2f} s"
        yield refuse("start-beyond-end", what, "start earlier", file=FILE_NAME, field=field)
    elif part.stop is not None and part.stop * 1000 > sum(durations) + JITTER_MS:
        what = f"stop = {part.stop:g}, but {names[0]} ends at {whole_s:.2f} s; it plays to its end"
        yield note("stop-beyond-end", what, file=FILE_NAME, field=f"part.{number}.stop")
    if len(frames) > most:
        yield picture_faults.too_long(most, names[0], cut=", or take a stretch of it by start and stop, in seconds")


def retimed(name: str, durations_ms: Sequence[int], frames: range, shown: Sequence[int], rate: float) -> Reason | None:
    """How the pictures `frames` of a clip fare at `rate` a second, where beat for beat `shown` is seen.

    None where each of an even clip is shown once.
    """
    times = Counter(shown)
    doubled = sum(times[index] > 1 for index in frames)
    left_out = sum(not times[index] for index in frames)
    stand = [durations_ms[index] for index in frames]
    uneven = not _is_even(stand)
    if not (doubled or left_out or uneven):
        return None
    pace = f"stand {min(stand)} to {max(stand)} ms each" if uneven else f"stand {stand[len(stand) // 2]} ms each"
    what = (
        f"its {len(stand)} pictures {pace}, and the radio shows one every {1000 / rate:.0f} ms: they make "
        f"{len(shown)} frames, "
        f"{len(stand) - left_out} are shown, {doubled} of them more than once, and {left_out} left out"
    )
    return note("clip-retimed", what, file=name)
