"""How long an animation can keep the home screen, and the reversing camera with it, after the boot.

The player asks after each frame whether the boot is over, so the worst starts are those whose boot ends just after it
asked. Only these are tried.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from keyturn.radio.pacing import SECOND, Pacing, PlayedPart
from keyturn.radio.timeline import Timeline

INSTANT_S = 1 / SECOND


def worst_delay_s(parts: Sequence[PlayedPart], pacing: Pacing, shortest_s: float, longest_s: float) -> float:
    """Return the longest delay in seconds in any start whose boot takes `shortest_s` to `longest_s`.

    It is infinite where the screen is never released.
    """
    played = tuple(parts)
    return max(Timeline(played, pacing, boot_s).delay_s for boot_s in _boots(played, pacing, shortest_s, longest_s))


def _boots(parts: tuple[PlayedPart, ...], pacing: Pacing, shortest_s: float, longest_s: float) -> Iterator[float]:
    """Yield the shortest boot, the longest, and those that end just after the player asked."""
    yield from (shortest_s, longest_s)
    if pacing.killed:
        return
    for asks_s in Timeline(parts, pacing, longest_s).asks(shortest_s, longest_s):
        yield min(asks_s + INSTANT_S, longest_s)


def worst_delay_ever_s(parts: Sequence[PlayedPart], pacing: Pacing) -> float:
    """Return the longest delay in seconds in a start of any length: what an archive can do on an unknown radio.

    The plays of a part delay alike, so boots within the first three plays and the last of each part stand for all.
    """
    played = tuple(parts)
    if pacing.killed:
        return 0.0
    moments = [0.0]
    start = 0
    for part in played:
        rhythm, pause = pacing.rhythm, pacing.pause_ns(part.pause)
        first, later = part.frames * rhythm.first_beat, part.frames * rhythm.beat
        plays = sorted({0, 1, 2, max(0, part.count - 1)} & set(range(part.count or 3)))
        for play in plays:
            begins = start if play == 0 else start + first + pause + (play - 1) * (later + pause)
            beat = rhythm.beat if play else rhythm.first_beat
            frames = {0, 1, part.frames - 1, part.frames} & set(range(part.frames + 1))
            moments += [(begins + n * beat) / SECOND for n in frames]
            rests = begins + part.frames * beat
            moments += [moment / SECOND for moment in (rests + pause, *_checks(rests, pause, rhythm.pause_check))]
        start += pacing.plays_ns(part)
    ahead_s = pacing.rhythm.first_work / SECOND
    boots = (max(0.0, moment - ahead_s) + 2 * INSTANT_S for moment in moments)
    return max((Timeline(played, pacing, boot).delay_s for boot in boots), default=0.0)


def _checks(rests: int, pause: int, step: int) -> list[int]:
    """Return the first and the last moments at which the player asks in a pause."""
    asked = range(rests + step, rests + pause, step) if step else range(0)
    return [*asked[:2], *asked[-2:]]


def held_for_ever(parts: Sequence[PlayedPart], pacing: Pacing) -> bool:
    """Tell whether there is a start in which the screen is never released."""
    return math.isinf(worst_delay_ever_s(parts, pacing))
