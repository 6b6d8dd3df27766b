"""What is seen on the radio and for how long, in words, for the sheet, the card and INSTALL.txt."""

from __future__ import annotations

import re
from dataclasses import dataclass

from keyturn.pages.languages import ENGLISH, Language
from keyturn.shop.records import PartRecord, RadioRecord, TimelineRecord


@dataclass(frozen=True, slots=True)
class OnScreen:
    """One thing that is seen: its name, the art it was made from (or ""), and what happens."""

    title: str
    art: str
    words: str


def on_screen(radio: RadioRecord, language: Language = ENGLISH) -> tuple[OnScreen, ...]:
    """Return the logo and then every part that plays, in order. After an endless part only parts of type c play."""
    _ = language.gettext
    shown = [OnScreen(_("Boot logo"), "", _("stands still until the animation begins"))]
    booted = False
    for number, part in enumerate(radio.parts, 1):
        if not booted or part.type == "c":
            shown.append(OnScreen(_("Part %(number)s", number=number), part.art, _words(part, radio, language)))
        booted = booted or part.count == 0
    return tuple(shown)


_AT_CUT = re.compile(r"frame (\d+) of (\d+) of part (\d+), (at rest|cut mid-motion)")
"""How `judge.timing` says it in the record. Records of before name the part's folder, and stay as they are."""


def at_cut(timeline: TimelineRecord, language: Language = ENGLISH) -> str:
    """Return what is on the screen when a usual start ends."""
    found = _AT_CUT.fullmatch(timeline.on_screen_at_cut)
    if found is None:
        return timeline.on_screen_at_cut
    values = {"frame": found[1], "frames": found[2], "part": found[3]}
    if found[4] == "at rest":
        return language.gettext("frame %(frame)s of %(frames)s of part %(part)s, at rest", **values)
    return language.gettext("frame %(frame)s of %(frames)s of part %(part)s, cut mid-motion", **values)


def later_interval_s(timeline: TimelineRecord) -> float:
    """Return the seconds from one frame to the next in later plays. Records of older Keyturns have one interval."""
    return timeline.interval_s if timeline.later_interval_s is None else timeline.later_interval_s


def plays_s(part: PartRecord, timeline: TimelineRecord) -> float:
    """Return how many seconds all plays of the part last, with the pauses after them."""
    beats = timeline.interval_s + (part.count - 1) * later_interval_s(timeline)
    return part.frames * beats + part.count * part.pause_s


def _words(part: PartRecord, radio: RadioRecord, language: Language) -> str:
    if part.count == 0:
        return _endless_words(part, radio, language)
    words = language.listed(
        language.ngettext("%(num)s frame", "%(num)s frames", part.frames),
        times(part.count, language),
        language.gettext("%(length)s in all", length=language.seconds(plays_s(part, radio.timeline))),
        _pause_words(part, language),
    )
    if part.type != "c":
        return words
    return language.gettext("%(words)s; plays to its end even when the radio has booted", words=words)


def times(count: int, language: Language) -> str:
    """Return how often a part plays: "once", "3 times"."""
    return language.gettext("once") if count == 1 else language.ngettext("%(num)s time", "%(num)s times", count)


def _endless_words(part: PartRecord, radio: RadioRecord, language: Language) -> str:
    timeline = radio.timeline
    hold = language.gettext(
        "usually %(usual)s (%(shortest)s to %(longest)s)",
        usual=language.seconds(timeline.hold_usual_s),
        shortest=language.decimal(timeline.hold_shortest_s, 1),
        longest=language.seconds(timeline.hold_longest_s),
    )
    if part.frames == 1:
        return language.listed(language.gettext("one still picture until the radio has booted"), hold)
    return language.listed(
        language.ngettext(
            "%(num)s frame again and again until the radio has booted",
            "%(num)s frames again and again until the radio has booted",
            part.frames,
        ),
        hold,
        _pause_words(part, language),
    )


def _pause_words(part: PartRecord, language: Language) -> str:
    if part.pause_s <= 0:
        return ""
    rest = language.seconds(part.pause_s)
    if part.count == 1:
        return language.gettext("with a rest of %(rest)s", rest=rest)
    return language.gettext("with a rest of %(rest)s after each play", rest=rest)
