"""How long an animation can keep the home screen, and the reversing camera with it, after the boot.

The player asks after each frame whether the boot is over, so the worst starts are those whose boot ends just after it
asked. Only these are tried.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from keyturn.radio import player_loop
from keyturn.radio.pacing import SECOND, Pacing, PlayedPart
from keyturn.radio.player_loop import Course
from keyturn.radio.timeline import Timeline

UNNOTICED_S = 0.3
"""A delay up to this is not told: starts of one radio vary by 1 to 5 s. Keyturn's own choice."""

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
    if pacing.killed:
        return 0.0
    rhythm, pauses = pacing.rhythm, [pacing.pause_ns(part.pause) for part in parts]
    moments = [0]
    start = 0
    for part, pause in zip(parts, pauses, strict=True):
        first, later = part.frames * rhythm.first_beat, part.frames * rhythm.beat
        plays = range(part.count or 3)  # in an archive from outside it may be of any length
        for play in {play for play in (0, 1, 2, part.count - 1) if play in plays}:
            begins = start if play == 0 else start + first + pause + (play - 1) * (later + pause)
            beat = rhythm.beat if play else rhythm.first_beat
            frames = {0, 1, part.frames - 1, part.frames} & set(range(part.frames + 1))
            rests = begins + part.frames * beat
            moments += [begins + n * beat for n in frames]
            moments += [rests + pause, *_checks(rests, pause, rhythm.pause_check)]
        start += pacing.plays_ns(part)
    # the player's own clock: a pause before the first frame holds the screen as well
    return max(_delay_s(player_loop.play(parts, rhythm, pauses, moment + 1), moment + 1) for moment in moments)


def _delay_s(course: Course, boot: int) -> float:
    return math.inf if course.endless else max(0, course.end - boot) / SECOND


def _checks(rests: int, pause: int, step: int) -> list[int]:
    """Return the first and the last moments at which the player asks in a pause."""
    asked = range(rests + step, rests + pause, step) if step else range(0)
    return [*asked[:2], *asked[-2:]]
