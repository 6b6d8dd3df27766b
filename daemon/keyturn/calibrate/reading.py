"""Learn from filmed starts how long the radio boots, and how long it shows each frame.

Frame n shows figure n. Most players ask only between two frames whether the boot is over (Android Open Source
Project, frameworks/base, cmds/bootanimation; see `radio.player_loop`), so the last figure stays for a whole frame
interval too: from the first figure to the home screen, n whole intervals pass, less the work on the frame that is not
shown any more. The first generation is killed at any moment of the last figure, half an interval earlier on average.
Both are left out: with 150 figures they are 0.3 % of the interval at most.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from keyturn.calibrate.figures import decimals, frame_of
from keyturn.renumber.planned_parts import pacing
from keyturn.shop.radio_profile import Radio
from keyturn.shop.wrong_use import WrongUse

FILM_S = 1 / 30
"""Seconds between two pictures of a film at 30 a second, as phones take it (common practice, no source)."""

LATE_S = 3 * FILM_S
"""Largest error of a film in seconds: its first figure one picture late, its end one picture early, and one spare."""

MEASURED = "measured in this shop on "
"""The beginning of the source of a measured table."""

_FIGURES = re.compile("[0-9.,]+")
_SEVERAL = {"--read": _FIGURES, "--filmed": _FIGURES, "--film": re.compile(r"(?!-).*\.[A-Za-z0-9]+", re.DOTALL)}
"""Options that several values may follow, and what such a value looks like."""

_NUMBER = re.compile(r"[0-9]+(\.[0-9]+)?")


def read(texts: Sequence[str], option: str = "--read") -> tuple[float, ...]:
    """Return the typed seconds as numbers above 0, at most 600. Raise `WrongUse` naming each that is none."""
    wrong = [text for text in texts if not _NUMBER.fullmatch(text) or not 0 < float(text) <= 600]
    if wrong:
        what = f"{option}: {', '.join(map(repr, wrong))} cannot be read as seconds above 0, at most 600"
        point = next((text.replace(",", ".") for text in wrong if "," in text), "17.9")
        raise WrongUse(what, f"write plain numbers with a point, such as {point}")
    return tuple(map(float, texts))


def spread_values(arguments: Sequence[str]) -> list[str]:
    """Return the arguments with `--read 17.9 18.4` as `--read 17.9 --read 18.4`, since an option takes one value.

    The same is done for --filmed, and for --film with names that have an ending.
    """
    spread: list[str] = []
    option = ""
    for argument in arguments:
        if option and spread[-1] != option and _SEVERAL[option].fullmatch(argument):
            spread.append(option)
        elif argument.startswith("-"):
            option = argument if argument in _SEVERAL else ""
        spread.append(argument)
    return spread


@dataclass(frozen=True, slots=True)
class Interval:
    """Seconds from one frame to the next, their standard error, and how far the starts scatter about the fit."""

    seconds: float
    error_s: float
    scatter_s: float


@dataclass(frozen=True, slots=True)
class Learnt:
    """What was learnt: for each start the frames counted, and the seconds from the first figure to the home screen.

    `interval` is None where nothing was filmed. `expected_s` is the interval by the profile at this fps;
    `expected_measured` says whether it was measured before or assumed. `cost_ms` is the time to decode and draw a
    frame, None where the starts do not show it.
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
    """Learn from the last figure of each start and, in the same order, the seconds filmed.

    The boot time is the seconds filmed. Where nothing was filmed, it is the frames counted times the interval by
    the profile. Raise `WrongUse` where a reading is impossible.
    """
    frames = _frames(fps, shown_s)
    expected_s = pacing(radio, fps).interval_s
    interval = _interval(fps, frames, filmed_s) if filmed_s is not None else None
    boot_s = tuple(filmed_s) if filmed_s is not None else tuple(n * expected_s for n in frames)
    if not all(0.1 <= s <= 600 for s in boot_s):
        raise WrongUse("a boot of less than 0.1 s or more than 600 s was read", "read the film again")
    return Learnt(
        radio=radio.name,
        pacing=radio.player.pacing,
        fps=fps,
        frames=frames,
        boot_s=tuple(round(s, 3) for s in boot_s),
        interval=interval,
        expected_s=expected_s,
        expected_measured=radio.limits.source.startswith(MEASURED),
        cost_ms=_cost_ms(radio, fps, interval) if interval else None,
    )


def _frames(fps: int, shown_s: Sequence[float]) -> tuple[int, ...]:
    """Return the number of the frame that shows each figure."""
    numbers = {shown: frame_of(shown, fps) for shown in shown_s}
    if odd := [f"{shown:g}" for shown, number in numbers.items() if number is None]:
        raise WrongUse(
            f"no stick of {fps} fps shows {', '.join(odd)}",
            f"read all {decimals(fps)} digits after the point again, or name the --fps the stick was made with",
        )
    return tuple(n for shown in shown_s if (n := numbers[shown]) is not None)


def _interval(fps: int, frames: Sequence[int], filmed_s: Sequence[float]) -> Interval:
    """Return the interval by least squares through the origin, sum(n t) / sum(n n), with its standard error.

    The line goes through the origin because the film's time begins with the first figure: no frames take no time.
    A free intercept could not be separated from the slope, since all starts of one radio last about equally long.
    """
    _check_plausible(fps, frames, filmed_s)
    n, t = np.asarray(frames, float), np.asarray(filmed_s, float)
    seconds = float(n @ t / (n @ n))
    scatter_s = math.sqrt(float(((t - n * seconds) ** 2).sum()) / max(1, len(frames) - 1))
    return Interval(seconds, max(scatter_s, FILM_S) / math.sqrt(float(n @ n)), scatter_s)


def _check_plausible(fps: int, frames: Sequence[int], filmed_s: Sequence[float]) -> None:
    """Raise `WrongUse` where more than `fps` frames a second were shown. A player may cut the last frame short."""
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
            f"this is impossible: {'; '.join(impossible)}",
            "read the figure and the film's time again, and name the --fps the stick was made with",
        )


def _cost_ms(radio: Radio, fps: int, interval: Interval) -> float | None:
    """Return the cost of a frame in ms that gives the measured interval (see `radio.timeline.Pacing`).

    An additive radio takes this time in addition to 1/fps. A radio of fixed beat shows it only where a frame takes
    longer than 1/fps. Otherwise a frame costs at most 1/fps: that is returned where the profile assumes more, and
    None where it does not.
    """
    over_s = interval.seconds - 1 / fps
    if radio.player.pacing == "additive":
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
