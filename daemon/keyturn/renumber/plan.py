"""How one radio will be given a job: its rows, its frames and the rate, before any picture is decoded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from statistics import median

from keyturn.flatten.frame_source import Source
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.normalize.fit import Fit
from keyturn.radio.boot import BootModel
from keyturn.radio.desc import Desc, PartType, Row
from keyturn.radio.pace import alternatives, choose_fps, kept_frames, thin
from keyturn.radio.timeline import Pacing, Part, Timeline
from keyturn.renumber.frame_sources import Footage
from keyturn.renumber.order import part_name
from keyturn.renumber.parts import UNTIL_BOOTED, JobArt, PartArt
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, mended, note, refuse
from keyturn.shop.records import PaceRow
from keyturn.shop.rulebook import Enlarging

SLIDE_SHOW_FPS = 8
"""Below this rate a motion is seen as a row of pictures. Common practice, no source."""

LOOP_FPS = 15
"""Where nothing has to finish in time, "auto" takes this rate, or a clip's own. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """`row` as it goes into desc.txt; `sources` in playing order, one a frame."""

    row: Row
    sources: tuple[Source, ...]
    pause_s: float
    art: str

    @property
    def unit(self) -> Part:
        return Part(type=self.row.type, count=self.row.count, pause=self.row.pause, frames=len(self.sources))


@dataclass(frozen=True, slots=True)
class Plan:
    """`logo` None: frame 1 is the logo. `share_finished` is of starts, for parts that play once."""

    radio: Radio
    parts: tuple[PlannedPart, ...]
    logo: Source | None
    fps: int
    boot: BootModel
    once_only_s: float
    share_finished: float
    alternatives: tuple[PaceRow, ...]
    reasons: tuple[Reason, ...]

    @property
    def desc(self) -> Desc:
        return Desc(*self.radio.panel.size, self.fps, tuple(p.row for p in self.parts))

    @property
    def frame_count(self) -> int:
        return sum(len(p.sources) for p in self.parts)

    @property
    def pacing(self) -> Pacing:
        return pacing(self.radio, self.fps)

    def timeline(self, boot_s: float) -> Timeline:
        return Timeline(tuple(p.unit for p in self.parts), self.pacing, boot_s)


def pacing(radio: Radio, fps: int) -> Pacing:
    """The radio's beat at `fps`, with the cost of decoding and drawing one frame of its panel."""
    mpx = radio.panel.width * radio.panel.height / 1e6
    cost_s = (radio.limits.decode_ms_per_mpx * mpx + radio.limits.draw_ms) / 1000
    return Pacing(fps=fps, mode=radio.firmware.pacing, cost_s=cost_s, pause_unit=radio.firmware.pause_unit)


def fit_for(manifest: Manifest, radio: Radio) -> Fit:
    return Fit(radio.panel.size, manifest.fit, manifest.focus)


@dataclass(frozen=True, slots=True)
class _Job:
    """What every step of planning looks at."""

    manifest: Manifest
    art: JobArt
    root: Path
    radio: Radio
    boot: BootModel

    @property
    def footage(self) -> Footage:
        return Footage(self.art, self.root, self.radio.panel.size)

    @property
    def finish(self) -> float:
        return self.manifest.motion.finish

    def once_only_s(self, parts: Sequence[PlannedPart], fps: int) -> float:
        unit = tuple(p.unit for p in parts)
        return Timeline(unit, pacing(self.radio, fps), self.radio.boot.longest).once_only_end_s

    def in_time(self, parts: Sequence[PlannedPart], fps: int) -> bool:
        return self.boot.share_finished(self.once_only_s(parts, fps)) >= self.finish

    def units_at(self, fps: int) -> tuple[Part, ...]:
        return tuple(p.unit for p in parts_at(self, fps))

    def pacing_at(self, fps: int) -> Pacing:
        return pacing(self.radio, fps)

    def rate(self, fps: int) -> float:
        """Pictures a second that the radio really shows: additive players add the cost of each to its time."""
        return 1 / self.pacing_at(fps).interval_s

    def alternatives(self, fps: int) -> tuple[PaceRow, ...]:
        limits = self.radio.limits
        rows = alternatives(self.units_at, self.pacing_at, self.boot, fps, limits.fps_min, limits.fps_max)
        return tuple(PaceRow(**asdict(row)) for row in rows)


def plan(manifest: Manifest, art: JobArt, root: Path, radio: Radio, enlarging: Enlarging) -> Plan:
    """Never raises for the art's sake: what stands against the plan is among its reasons."""
    job = _Job(manifest, art, root, radio, BootModel.of_radio(radio))
    reasons = _plays_trusted(job) + _holds_screen(job) + _enlarged(job, enlarging)
    fps = _fps(job, reasons)
    parts = parts_at(job, fps)
    if not job.in_time(parts, fps):
        parts = _made_to_fit(job, parts, fps, reasons)
    reasons += _pauses_rounded(job, parts, fps) + _jumpy(parts, fps)
    reasons += job.footage.retimed(job.rate(fps))
    once_s = job.once_only_s(parts, fps)
    logo = Source(root / art.logo, art.logo) if art.logo else None
    return Plan(
        radio=radio,
        parts=parts,
        logo=logo,
        fps=fps,
        boot=job.boot,
        once_only_s=once_s,
        share_finished=job.boot.share_finished(once_s),
        alternatives=job.alternatives(fps),
        reasons=tuple(reasons),
    )


# -- parts ------------------------------------------------------------------------------------------


def parts_at(job: _Job, fps: int) -> tuple[PlannedPart, ...]:
    """The rows and frames at `fps`: clips are resampled to what the radio makes of it, as what lasts
    seconds is drawn in it, and pauses are counted."""
    return tuple(_planned(job, art, number, fps) for number, art in enumerate(job.art.parts))


def _planned(job: _Job, art: PartArt, number: int, fps: int) -> PlannedPart:
    row = Row(
        type=_type(job, art),
        count=0 if art.plays == UNTIL_BOOTED else int(art.plays),
        pause=pause_count(job.radio, art.pause_s, fps),
        path=part_name(number),
    )
    return PlannedPart(row, job.footage.sources(art, job.rate(fps)), art.pause_s, art.art)


def pause_count(radio: Radio, pause_s: float, fps: int) -> int:
    """A pause as the radio's desc.txt counts it: the nearest whole number of frames, or of seconds."""
    counted = pause_s if radio.firmware.pause_unit == "seconds" else pause_s * fps
    return math.floor(counted + 0.5)


def _type(job: _Job, art: PartArt) -> PartType:
    return "c" if art.hold_screen and "c" in job.radio.firmware.part_types else "p"


def _plays_trusted(job: _Job) -> list[Reason]:
    most = job.radio.firmware.max_plays
    return [
        refuse(
            "plays-not-trusted",
            f"{part.plays} plays: {job.radio.name} is trusted with at most {most}",
            f'play it {most} times, draw a longer part, or write plays = "{UNTIL_BOOTED}"',
            file=FILE_NAME,
            field=f"part.{number}.plays",
        )
        for number, part in enumerate(job.art.parts, 1)
        if part.plays != UNTIL_BOOTED and int(part.plays) > most
    ]


def _holds_screen(job: _Job) -> list[Reason]:
    """Parts that must finish delay the home screen, so they need a radio that has them and a reason why."""
    found = []
    for number, part in enumerate(job.art.parts, 1):
        if part.hold_screen and "c" not in job.radio.firmware.part_types:
            what = f"{job.radio.name} has no parts that finish after the radio has booted"
            mend = "take hold_screen out"
            field = f"part.{number}.hold_screen"
            found.append(refuse("hold-not-possible", what, mend, file=FILE_NAME, field=field))
    return found


def _enlarged(job: _Job, rules: Enlarging) -> list[Reason]:
    """Art much smaller than the panel looks soft; far smaller it is refused. One finding for the smallest."""
    fit = fit_for(job.manifest, job.radio)
    factors = job.footage.enlarged(fit)
    name, factor = max(factors.items(), key=lambda item: item[1], default=("", 0.0))
    if factor <= rules.note_above:
        return []
    soft = sum(f > rules.note_above for f in factors.values())
    more = f" ({soft} pictures are enlarged)" if soft > 1 else ""
    wide, high = job.art.probes[name].size
    what = f"is {wide} x {high} and is enlarged {factor:.1f} times for {job.radio.name}{more}: it will look soft"
    mend = f"draw it at {math.ceil(wide * factor)} x {math.ceil(high * factor)} or larger"
    finding = refuse if factor > rules.refuse_above else note
    return [finding("art-too-small" if finding is refuse else "art-soft", what, mend, file=name)]


def _jumpy(parts: Sequence[PlannedPart], fps: int) -> list[Reason]:
    """ "auto" takes as long as the boot allows; with few pictures that is a slide show, and the artist should know."""
    most = max((len(p.sources) for p in parts if p.row.count != 0), default=0)
    if fps >= SLIDE_SHOW_FPS or most < 3:
        return []
    what = f"at {fps} fps each picture stands for {1 / fps:.2g} s: the motion will look like a slide show"
    mend = f"draw more pictures, or set fps = {SLIDE_SHOW_FPS} or more: it then ends earlier and holds longer"
    return [note("jumpy", what, mend, file=FILE_NAME, field="motion.fps")]


def _pauses_rounded(job: _Job, parts: Sequence[PlannedPart], fps: int) -> list[Reason]:
    """A pause is a whole number in desc.txt; a change someone could see is told."""
    found = []
    for number, part in enumerate(parts, 1):
        real = pacing(job.radio, fps).pause_s(part.row.pause)
        if abs(real - part.pause_s) > 0.1:
            what = f"a pause of {part.pause_s:g} s becomes {real:.2f} s: the radio counts whole beats"
            found.append(mended("pause-rounded", what, file=FILE_NAME, field=f"part.{number}.pause"))
    return found


# -- rate -------------------------------------------------------------------------------------------


def _fps(job: _Job, reasons: list[Reason]) -> int:
    limits = job.radio.limits
    wanted = job.manifest.motion.fps
    if isinstance(wanted, int):
        fps = min(max(wanted, limits.fps_min), limits.fps_max)
        if fps != wanted:
            what = f"{wanted} fps is outside what {job.radio.name} is trusted with; {fps} fps it is"
            reasons.append(mended("fps-limited", what, file=FILE_NAME, field="motion.fps"))
        return fps
    natural = _natural_fps(job)
    lowest = min(max(limits.fps_min, natural), limits.fps_max)
    choice = choose_fps(
        job.units_at,
        job.pacing_at,
        job.boot,
        job.finish,
        lowest,
        limits.fps_max,
        default_fps=min(max(natural or LOOP_FPS, limits.fps_min), limits.fps_max),
    )
    return choice.fps


def _natural_fps(job: _Job) -> int:
    """What comes nearest to the pace of the quickest clip, by the median of its frames, on this radio; or the rate of
    what is drawn to last some seconds; 0 where there is neither.

    What lasts as long at any rate would always let "auto" choose the lowest: its own is the floor.
    """
    parts = [part for part in job.art.parts if not part.holds]
    clips = [_nearest_fps(job, median(job.art.probes[part.names[0]].durations_ms)) for part in parts if part.clip]
    return max([*clips, *(LOOP_FPS for part in parts if part.said.lasts_seconds)], default=0)


def _nearest_fps(job: _Job, picture_ms: float) -> int:
    limits = job.radio.limits

    def off_by_ms(fps: int) -> float:
        return abs(1000 / job.rate(fps) - picture_ms)

    return min(range(limits.fps_min, limits.fps_max + 1), key=off_by_ms)


def _made_to_fit(job: _Job, parts: tuple[PlannedPart, ...], fps: int, reasons: list[Reason]) -> tuple[PlannedPart, ...]:
    """Thins the parts that play once where the artist allows it; otherwise says by how much they are too long."""
    motion = job.manifest.motion
    thinned, left_out = _thinned(job, parts, fps)
    share = job.boot.share_finished(job.once_only_s(parts, fps))
    what = (
        f"at {fps} fps the parts that play once take {job.once_only_s(parts, fps):.1f} s on {job.radio.name}; "
        f"only {share:.0%} of starts last that long, {job.finish:.0%} are wanted"
    )
    if thinned is not None and motion.thin:
        reasons.append(note("thinned", f"{what}; {left_out} frames were left out, evenly"))
        return thinned
    remedy = f"leave out {left_out} frames, evenly" if thinned is not None else "shorten the pauses"
    mend = f"{remedy}; thin = true under [motion] does it; or accept a lower finish"
    field = "motion.finish"
    chosen_by_hand = isinstance(motion.fps, int) and "finish" not in motion.model_fields_set
    finding = note if chosen_by_hand else refuse
    reasons.append(finding("cut-mid-motion", what, mend, file=FILE_NAME, field=field))
    return parts


def _thinned(job: _Job, parts: tuple[PlannedPart, ...], fps: int) -> tuple[tuple[PlannedPart, ...] | None, int]:
    """The fewest frames left out of the once-only parts so that they finish in time, and how many.

    None where no thinning helps: pauses alone take too long.
    """
    kept = kept_frames(tuple(p.unit for p in parts), pacing(job.radio, fps), job.boot, job.finish)
    if kept is None:
        return None, 0
    thinned = tuple(_keep(part, frames) for part, frames in zip(parts, kept, strict=True))
    return thinned, sum(len(p.sources) for p in parts) - sum(len(p.sources) for p in thinned)


def _keep(part: PlannedPart, frames: int) -> PlannedPart:
    return replace(part, sources=tuple(part.sources[i] for i in thin(len(part.sources), frames)))
