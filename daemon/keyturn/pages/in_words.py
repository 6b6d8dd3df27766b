"""What is seen on the radio and for how long, in words, for the sheet, the card and INSTALL.txt."""

from __future__ import annotations

from dataclasses import dataclass

from keyturn.pages.render import counted, seconds
from keyturn.shop.records import PartRecord, RadioRecord, TimelineRecord


@dataclass(frozen=True, slots=True)
class OnScreen:
    """One thing that is seen: its name, the art it was made from (or ""), and what happens."""

    title: str
    art: str
    words: str


def on_screen(radio: RadioRecord) -> tuple[OnScreen, ...]:
    """Return the logo and then every part that plays, in order. After an endless part only parts of type c play."""
    shown = [OnScreen("Boot logo", "", "stands still until the animation begins")]
    booted = False
    for number, part in enumerate(radio.parts, 1):
        if not booted or part.type == "c":
            shown.append(OnScreen(f"Part {number}", part.art, _words(part, radio)))
        booted = booted or part.count == 0
    return tuple(shown)


def later_interval_s(timeline: TimelineRecord) -> float:
    """Return the seconds from one frame to the next in later plays. Records of older Keyturns have one interval."""
    return timeline.interval_s if timeline.later_interval_s is None else timeline.later_interval_s


def plays_s(part: PartRecord, timeline: TimelineRecord) -> float:
    """Return how many seconds all plays of the part last, with the pauses after them."""
    beats = timeline.interval_s + (part.count - 1) * later_interval_s(timeline)
    return part.frames * beats + part.count * part.pause_s


def _words(part: PartRecord, radio: RadioRecord) -> str:
    if part.count == 0:
        return _endless_words(part, radio)
    plays = "once" if part.count == 1 else f"{part.count} times"
    length = plays_s(part, radio.timeline)
    words = f"{counted(part.frames, 'frame')}, {plays}, {seconds(length)} in all"
    words += _pause_words(part)
    if part.type == "c":
        words += "; plays to its end even when the radio has booted"
    return words


def _endless_words(part: PartRecord, radio: RadioRecord) -> str:
    timeline = radio.timeline
    hold = f"usually {seconds(timeline.hold_usual_s)}"
    hold += f" ({timeline.hold_shortest_s:.1f} to {timeline.hold_longest_s:.1f} s)"
    if part.frames == 1:
        return f"one still picture until the radio has booted, {hold}"
    return f"{counted(part.frames, 'frame')} again and again until the radio has booted, {hold}{_pause_words(part)}"


def _pause_words(part: PartRecord) -> str:
    if part.pause_s <= 0:
        return ""
    each = " after each play" if part.count != 1 else ""
    return f", with a rest of {seconds(part.pause_s)}{each}"
