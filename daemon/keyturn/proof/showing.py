"""What somebody in front of the radio sees and for how long, in words: for the sheet, the card and INSTALL.txt."""

from __future__ import annotations

from dataclasses import dataclass

from keyturn.proof.render import counted, seconds
from keyturn.records import PartRecord, RadioRecord


@dataclass(frozen=True, slots=True)
class Act:
    """One thing on the screen. `start_s` from the first frame, None for the logo; `length_s` None: until booted."""

    title: str
    words: str
    start_s: float | None
    length_s: float | None


def acts(radio: RadioRecord) -> tuple[Act, ...]:
    """The logo, then every part that is reached, in order."""
    shown = [Act("Boot logo", "stands still until the animation begins", None, None)]
    start = 0.0
    for part in radio.parts:
        length = play_s(part, radio.timeline.interval_s) * part.count if part.count else None
        shown.append(Act(part.path, _words(part, radio), start, length))
        if length is None:
            break
        start += length
    return tuple(shown)


def play_s(part: PartRecord, interval_s: float) -> float:
    """Seconds of one play with the pause after it."""
    return part.frames * interval_s + part.pause_s


def _words(part: PartRecord, radio: RadioRecord) -> str:
    if part.count == 0:
        return _endless_words(part, radio)
    plays = "once" if part.count == 1 else f"{part.count} times"
    length = play_s(part, radio.timeline.interval_s) * part.count
    words = f"{counted(part.frames, 'frame')}, {plays}, {seconds(length)} in all"
    words += _pause_words(part)
    if part.type == "c":
        words += "; plays to its end even when the radio has booted"
    return words


def _endless_words(part: PartRecord, radio: RadioRecord) -> str:
    timeline = radio.timeline
    hold = f"usually {seconds(timeline.hold_usual_s)} ({timeline.hold_shortest_s:.1f} to {timeline.hold_longest_s:.1f} s)"
    if part.frames == 1:
        return f"one still picture until the radio has booted, {hold}"
    return f"{counted(part.frames, 'frame')} again and again until the radio has booted, {hold}{_pause_words(part)}"


def _pause_words(part: PartRecord) -> str:
    if part.pause_s <= 0:
        return ""
    each = " after each play" if part.count != 1 else ""
    return f", with a rest of {seconds(part.pause_s)}{each}"
