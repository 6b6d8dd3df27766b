"""What filmed starts teach: how long the radio boots, and how long it takes over a frame.

Figure n stands on the n-th frame. The player asks whether the boot is over only between two frames (Android
Open Source Project, frameworks/base, cmds/bootanimation; see `unit.runs`), so the last figure stands out its
beat: from the first figure to the home screen n whole frame intervals go by.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from keyturn.calibrate.figures import decimals, frame_of
from keyturn.renumber.plan import pacing
from keyturn.shop.radio_profile import Radio
from keyturn.shop.wrong_use import WrongUse

FILM_S = 1 / 30
"""A film of 30 pictures a second, as phones take, shows no moment more exactly (common practice, no source)."""

LATE_S = 3 * FILM_S
"""How far a start's film may stray: a picture too late at its first figure, one too early at its end, one spare."""

MEASURED = "measured in this shop on "
"""How the source of a measured table begins."""

_NUMBER = re.compile(r"[0-9]+(\.[0-9]+)?")


def read(texts: Sequence[str], option: str = "--read") -> tuple[float, ...]:
    """Seconds as people type them. Raises `WrongUse` naming every one that is no plain number of 0 to 600 s."""
    wrong = [text for text in texts if not _NUMBER.fullmatch(text) or not 0 < float(text) <= 600]
    if wrong:
        what = f"{option}: {', '.join(map(repr, wrong))} cannot be read as seconds above 0, at most 600"
        point = next((text.replace(",", ".") for text in wrong if "," in text), "17.9")
        raise WrongUse(what, f"write plain numbers with a point, such as {point}")
    return tuple(map(float, texts))


def spread_values(arguments: Sequence[str]) -> list[str]:
    """`--read 17.9 18.4` as `--read 17.9 --read 18.4`, which option parsers understand; the same for --filmed."""
    spread: list[str] = []
    option = ""
    for argument in arguments:
        if option and spread[-1] != option and re.fullmatch("[0-9.,]+", argument):
            spread.append(option)
        elif argument.startswith("-"):
            option = argument if argument in ("--read", "--filmed") else ""
        spread.append(argument)
    return spread


@dataclass(frozen=True, slots=True)
class Interval:
    """Seconds from a frame to the next, their standard error, and the scatter of starts about them in seconds."""

    seconds: float
    error_s: float
    scatter_s: float


@dataclass(frozen=True, slots=True)
class Learnt:
    """Of each start the frames counted and the boot in seconds, to the home screen.

    `interval` is None where nothing was filmed; `expected_s` is the profile's at this fps, itself measured
    before or assumed. `cost_ms` is what a frame costs to decode and draw; None where that is not known better.
    """

    radio: str
    pacing: str
    fps: int
    frames: tuple[int, ...]
    boot_s: tuple[float, ...]
    interval: Interval | None
    expected_s: float
    expected_measured: bool
    cost_ms: float | None


def learn(radio: Radio, fps: int, shown_s: Sequence[float], filmed_s: Sequence[float] | None) -> Learnt:
    """From the last figures read and, for the same starts in the same order, the seconds filmed.

    A boot is the seconds filmed; where nothing was, the frames counted times the profile's own interval.
    Raises `WrongUse` where a reading cannot be.
    """
    frames = _frames(fps, shown_s)
    expected_s = pacing(radio, fps).interval_s
    interval = _interval(fps, frames, filmed_s) if filmed_s is not None else None
    boot_s = tuple(filmed_s) if filmed_s is not None else tuple(n * expected_s for n in frames)
    if not all(0.1 <= s <= 600 for s in boot_s):
        raise WrongUse("a boot of less than 0.1 s or more than 600 s was read", "read the film again")
    return Learnt(
        radio=radio.name,
        pacing=radio.firmware.pacing,
        fps=fps,
        frames=frames,
        boot_s=tuple(round(s, 3) for s in boot_s),
        interval=interval,
        expected_s=expected_s,
        expected_measured=radio.limits.source.startswith(MEASURED),
        cost_ms=_cost_ms(radio, fps, interval) if interval else None,
    )


def _frames(fps: int, shown_s: Sequence[float]) -> tuple[int, ...]:
    numbers = {shown: frame_of(shown, fps) for shown in shown_s}
    if odd := [f"{shown:g}" for shown, number in numbers.items() if number is None]:
        raise WrongUse(
            f"no stick of {fps} fps shows {', '.join(odd)}",
            f"read all {decimals(fps)} digits after the point again, or name the --fps the stick was made with",
        )
    return tuple(n for shown in shown_s if (n := numbers[shown]) is not None)


def _interval(fps: int, frames: Sequence[int], filmed_s: Sequence[float]) -> Interval:
    """Least squares through the origin: sum(n t) / sum(n n), with the textbook's standard error.

    Through the origin, since the film's clock starts with the first figure: no frames take no time. A free
    intercept could not be told from the slope, as starts of one radio all last about as long.
    """
    _plausible(fps, frames, filmed_s)
    n, t = np.asarray(frames, float), np.asarray(filmed_s, float)
    seconds = float(n @ t / (n @ n))
    scatter_s = math.sqrt(float(((t - n * seconds) ** 2).sum()) / max(1, len(frames) - 1))
    return Interval(seconds, max(scatter_s, FILM_S) / math.sqrt(float(n @ n)), scatter_s)


def _plausible(fps: int, frames: Sequence[int], filmed_s: Sequence[float]) -> None:
    """No player shows more than fps frames a second; the very last may be cut off by one that does not wait."""
    if len(frames) != len(filmed_s):
        what = f"{len(frames)} figures were read and {len(filmed_s)} starts filmed"
        raise WrongUse(what, "give --read and --filmed one figure a start, in the same order")
    impossible = [
        f"{n} frames in {filmed:g} s (at {fps} fps they take {n / fps:g} s at least)"
        for n, filmed in zip(frames, filmed_s, strict=True)
        if filmed + LATE_S < (n - 1) / fps
    ]
    if impossible:
        raise WrongUse(
            f"this cannot be: {'; '.join(impossible)}",
            "read the figure and the film's time again, and name the --fps the stick was made with",
        )


def _cost_ms(radio: Radio, fps: int, interval: Interval) -> float | None:
    """The cost of a frame that gives the measured interval (see `unit.timeline.Pacing`).

    An additive radio pays it on top of the beat. One that keeps a fixed beat shows it only where the beat is
    missed; where it is kept, all that is learnt is that a frame costs no more than the beat.
    """
    over_s = interval.seconds - 1 / fps
    if radio.firmware.pacing == "additive":
        cost_s = max(0.0, over_s)
    elif over_s > 2 * interval.error_s:
        cost_s = interval.seconds
    elif pacing(radio, fps).cost_s > 1 / fps:
        cost_s = 1 / fps
    else:
        return None
    if cost_s > 1:
        raise WrongUse(f"a frame would take {cost_s:.2f} s to draw", "read the figure and the film's time again")
    return round(cost_s * 1000, 3)
