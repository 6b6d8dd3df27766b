"""What the sheet's player is given: the parts, the time a frame stands and the start-up times."""

from __future__ import annotations

from typing import Any

from keyturn.pages.in_words import later_interval_s
from keyturn.pages.languages import ENGLISH, Language
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.records import RadioProof, RadioRecord, TimelineRecord

MOST_BUTTONS = 7


def schedule(radio: RadioRecord, proof: RadioProof) -> dict[str, Any]:
    """Return the table that `shownAt` in player.js reads. Times are seconds; `order` and `logo` are picture numbers."""
    parts = [
        {
            "type": part.type,
            "count": part.count,
            "pause_s": part.pause_s,
            "order": list(order),
        }
        for part, order in zip(radio.parts, proof.order, strict=True)
    ]
    return {
        "interval_s": radio.timeline.interval_s,
        "later_interval_s": later_interval_s(radio.timeline),
        "work_s": radio.timeline.work_s,
        "later_work_s": radio.timeline.later_work_s,
        "pause_check_s": radio.timeline.pause_check_s,
        "killed": radio.timeline.killed,
        "parts": parts,
        "logo": pictures(proof).index(proof.logo),
        "boot_s": radio.timeline.boot_usual_s,
    }


def pictures(proof: RadioProof) -> tuple[str, ...]:
    """Return each picture of the radio once, and the logo as the last where it is none of the frames."""
    return proof.frames if proof.logo in proof.frames else (*proof.frames, proof.logo)


def boot_buttons(timeline: TimelineRecord, language: Language = ENGLISH) -> tuple[tuple[str, float], ...]:
    """Return (label, seconds) of the start-up times to choose from.

    These are the measured ones, evenly spaced where there are many, or else shortest, usual and longest.
    """
    samples = sorted(set(timeline.boot_samples_s))
    if samples:
        chosen = [samples[i] for i in evenly_spaced(len(samples), MOST_BUTTONS)]
        return tuple((language.seconds(s), s) for s in chosen)
    _, told = language.gettext, language.seconds
    return (
        (_("shortest %(time)s", time=told(timeline.boot_shortest_s)), timeline.boot_shortest_s),
        (_("usual %(time)s", time=told(timeline.boot_usual_s)), timeline.boot_usual_s),
        (_("longest %(time)s", time=told(timeline.boot_longest_s)), timeline.boot_longest_s),
    )


def longest_boot_s(timeline: TimelineRecord) -> float:
    """Return the longest start-up time that can be set, in seconds: a fifth beyond the longest start and the once-only
    parts."""
    return float(round(1.2 * max(timeline.boot_longest_s, timeline.once_only_s) + 0.5))
