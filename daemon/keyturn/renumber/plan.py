"""The plan for one radio: its parts, its frames and its rate, before any picture is decoded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from keyturn.flatten.frame_source import Source
from keyturn.manifest.lines_to_paste import in_part
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.radio.boot import BootModel
from keyturn.radio.desc import Desc
from keyturn.radio.pacing import Pacing, pacing_of
from keyturn.radio.timeline import Timeline
from keyturn.renumber.cut_off import cut_off_reasons
from keyturn.renumber.frame_sources import FrameSources
from keyturn.renumber.job_words import NO_WORDS, JobWords
from keyturn.renumber.parts import UNTIL_BOOTED, JobArt
from keyturn.renumber.planned_parts import PlanInputs, PlannedPart, fit_for, pacing
from keyturn.renumber.rate import chosen_fps, made_to_fit, neighbouring_rates, slide_show_reasons
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, mended, note, refuse
from keyturn.shop.records import PaceRow
from keyturn.shop.rulebook import Enlarging, Intake

LEAST_PAUSE_CHANGE_S = 0.1
"""A pause that is changed by less is not told: nobody sees it. Keyturn's own choice."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What one radio gets.

    Without a `logo`, frame 1 is the logo. `once_only_s` is how many seconds the parts that play once take,
    `share_finished` the share of starts (0 to 1) that last so long, `alternatives` the same at other rates.
    """

    radio: Radio
    parts: tuple[PlannedPart, ...]
    logo: Source | None
    fps: int
    boot: BootModel
    once_only_s: float
    share_finished: float
    alternatives: tuple[PaceRow, ...]
    reasons: tuple[Reason, ...]
    words: JobWords = NO_WORDS

    @property
    def desc(self) -> Desc:
        return Desc(*self.radio.panel.size, self.fps, tuple(p.row for p in self.parts))

    @property
    def frame_count(self) -> int:
        return sum(len(p.sources) for p in self.parts)

    def part_in_words(self, index: int) -> str:
        """Return what people call the part with `index` (from 0): "part 1 (lamps/*.png)". desc.txt calls it part0."""
        return f"part {index + 1} ({self.parts[index].art})"

    @property
    def pacing(self) -> Pacing:
        return pacing(self.radio, self.fps)

    @property
    def possible_pacings(self) -> tuple[Pacing, ...]:
        """The times of every player that the radio may have: more than one where its generation is a guess."""
        return tuple(dict.fromkeys(pacing_of(self.radio, each, self.fps) for each in self.radio.player.candidates))

    def timeline(self, boot_s: float) -> Timeline:
        return Timeline(tuple(p.played for p in self.parts), self.pacing, boot_s)


def plan(manifest: Manifest, art: JobArt, root: Path, radio: Radio, intake: Intake) -> Plan:
    """Return the plan of the art in `root` for `radio`.

    Faults of the art raise nothing: they are among the plan's reasons.
    """
    inputs = PlanInputs(manifest, art, root, radio, BootModel.of_radio(radio), intake.motion.slowest_fps)
    fps, fps_reasons = chosen_fps(inputs)
    parts, length_reasons = made_to_fit(inputs, inputs.parts_at(fps), fps)
    once_s = inputs.once_only_s(parts, fps)
    return Plan(
        radio=radio,
        parts=parts,
        logo=_logo(inputs.frame_sources, parts),
        fps=fps,
        boot=inputs.boot,
        once_only_s=once_s,
        share_finished=inputs.boot.share_finished(once_s),
        alternatives=neighbouring_rates(radio, inputs.boot, inputs.played_at, fps),
        reasons=(
            *_plays_reasons(inputs),
            *_hold_screen_reasons(inputs),
            *_enlarging_reasons(inputs, intake.enlarging),
            *cut_off_reasons(art, fit_for(manifest, radio), radio.name),
            *fps_reasons,
            *length_reasons,
            *_pause_reasons(radio, parts, fps),
            *slide_show_reasons(inputs, parts, fps),
            *inputs.frame_sources.retiming_notes(inputs.shown_rate(fps)),
        ),
        words=art.words,
    )


def _logo(sources: FrameSources, parts: Sequence[PlannedPart]) -> Source | None:
    """Return the job's own logo, or frame 1 with the logo's words; None where frame 1 is the logo as it is."""
    if (own := sources.logo()) is not None:
        return own
    first, words = parts[0].sources[0], sources.logo_words()
    return replace(first, figures=(*first.figures, *words)) if words else None


def _plays_reasons(inputs: PlanInputs) -> list[Reason]:
    """Refuse more plays than the radio's player is known to count."""
    most = inputs.radio.firmware.max_plays
    return [
        refuse(
            "plays-not-trusted",
            f"{part.plays} plays: {inputs.radio.name} is trusted with at most {most}",
            f'draw a longer part, or write plays = "{UNTIL_BOOTED}"; or {in_part(number, f"plays = {most}")}',
            file=FILE_NAME,
            field=f"part.{number}.plays",
        )
        for number, part in enumerate(inputs.art.parts, 1)
        if part.plays != UNTIL_BOOTED and int(part.plays) > most
    ]


def _hold_screen_reasons(inputs: PlanInputs) -> list[Reason]:
    """Refuse `hold_screen` where the radio's player has no parts that finish after the boot."""
    return [
        refuse(
            "hold-not-possible",
            f"{inputs.radio.name} has no parts that finish after the radio has booted",
            "take hold_screen out",
            file=FILE_NAME,
            field=f"part.{number}.hold_screen",
        )
        for number, part in enumerate(inputs.art.parts, 1)
        if part.hold_screen and not inputs.radio.player.knows("c")
    ]


def _enlarging_reasons(inputs: PlanInputs, rules: Enlarging) -> list[Reason]:
    """Note art that is enlarged and looks soft, refuse art that is enlarged far. One reason, for the smallest."""
    factors = inputs.frame_sources.enlarged(fit_for(inputs.manifest, inputs.radio))
    name, factor = max(factors.items(), key=lambda item: item[1], default=("", 0.0))
    if factor <= rules.note_above:
        return []
    soft = sum(f > rules.note_above for f in factors.values())
    more = f" ({soft} pictures are enlarged)" if soft > 1 else ""
    wide, high = inputs.art.probes[name].size
    what = f"is {wide} x {high} and is enlarged {factor:.1f} times for {inputs.radio.name}{more}: it will look soft"
    mend = f"draw it at {math.ceil(wide * factor)} x {math.ceil(high * factor)} or larger"
    finding = refuse if factor > rules.refuse_above else note
    return [finding("art-too-small" if finding is refuse else "art-soft", what, mend, file=name)]


def _pause_reasons(radio: Radio, parts: Sequence[PlannedPart], fps: int) -> list[Reason]:
    """Tell of pauses that rounding to whole frames changes visibly."""
    found = []
    for number, part in enumerate(parts, 1):
        real = pacing(radio, fps).pause_s(part.row.pause)
        if abs(real - part.pause_s) > LEAST_PAUSE_CHANGE_S:
            what = f"a pause of {part.pause_s:g} s becomes {real:.2f} s: the radio counts whole beats"
            found.append(mended("pause-rounded", what, file=FILE_NAME, field=f"part.{number}.pause"))
    return found
