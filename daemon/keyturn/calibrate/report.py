"""Say in plain lines what was learnt and how far it can be trusted."""

from __future__ import annotations

from keyturn.calibrate.figures import figure
from keyturn.calibrate.reading import Interval, Learnt
from keyturn.radio.boot import FEWEST_SAMPLES


def describe(learnt: Learnt) -> list[str]:
    """Return what was learnt and how far it can be trusted, one fact a line."""
    lines = [f"{learnt.radio}: {starts(len(learnt.frames))} at {learnt.fps} fps"]
    for frame, boot_s in zip(learnt.frames, learnt.boot_s, strict=True):
        lines.append(f"  figure {figure(frame, learnt.fps)} (frame {frame}): home screen after {boot_s:.2f} s")
    lines += _of_interval(learnt, learnt.interval) if learnt.interval else _unfilmed(learnt)
    if len(learnt.frames) < FEWEST_SAMPLES:
        lines.append("One start does not show how much starts differ: film more, some of them from cold.")
    return lines


def starts(number: int) -> str:
    """Return "1 start", "2 starts" and so on."""
    return f"{number} start{'s' * (number != 1)}"


def _unfilmed(learnt: Learnt) -> list[str]:
    known = "measured before" if learnt.expected_measured else "assumed, not measured"
    return [
        f"These times are computed from {learnt.expected_s * 1000:.1f} ms a frame, {known}.",
        "Give --filmed, the seconds from the first figure to the home screen, to measure it.",
    ]


def _of_interval(learnt: Learnt, interval: Interval) -> list[str]:
    ms, error_ms, expected_ms = interval.seconds * 1000, interval.error_s * 1000, learnt.expected_s * 1000
    known = "measured before" if learnt.expected_measured else "assumed"
    lines = [
        f"A frame takes {ms:.1f} ms, give or take {2 * error_ms:.1f} ms; starts differ by {interval.scatter_s:.2f} s.",
        f"The profile said {expected_ms:.1f} ms, {known}.",
    ]
    if learnt.cost_ms is None:
        lines.append(f"The beat of {learnt.fps} fps is kept: a higher --fps would show what a frame costs.")
    else:
        lines.append(f"Decoding and drawing cost {learnt.cost_ms:.1f} ms a frame.")
        lines.append("The stick's pictures are flat: photographs take longer to decode.")
    return [*lines, *_of_pacing(learnt, interval)]


def _of_pacing(learnt: Learnt, interval: Interval) -> list[str]:
    """Return what the interval says about the pacing. It takes two rates to tell the two kinds of pacing apart."""
    if not learnt.expected_measured:
        return [f'Whether this radio\'s pacing is "{learnt.pacing}" shows when you calibrate at a second --fps.']
    if abs(interval.seconds - learnt.expected_s) <= max(4 * interval.error_s, 0.02 * learnt.expected_s):
        return [f'It agrees with what was measured before: pacing "{learnt.pacing}".']
    other = "fixed-beat" if learnt.pacing == "additive" else "additive"
    return [
        f'It contradicts what was measured before. If that was at another fps, pacing is "{other}": write it under '
        "[firmware] in the shop's profile and calibrate again."
    ]
