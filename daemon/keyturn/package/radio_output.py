"""One radio's output: its frames made by the crew, packed in order, judged, and written down.

Everything that differs from radio to radio happens here; `pipeline` does what the job's radios share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from keyturn.flatten.frame_source import Source
from keyturn.judge.dithering import dithering_reasons
from keyturn.judge.flash import PictureNumbers
from keyturn.judge.motion import handoff_reasons, hold_reasons, join_reasons, stumble_reasons
from keyturn.judge.sizes import logo_reasons, memory_reasons, memory_record
from keyturn.judge.timing import delay_reasons, timeline_record
from keyturn.judge.words import words_reasons
from keyturn.package import animation
from keyturn.package.animation import Animation, FrameStore, PackedPart, data_uri
from keyturn.package.digested_zip import DigestedZip
from keyturn.package.fit_size import fitted, fitted_logo
from keyturn.package.flash_result import FlashResult, flash_result
from keyturn.package.flash_watch import FlashWatch, WatchedCrew
from keyturn.package.frame import FrameDone
from keyturn.package.picture_tasks import Compare, compare
from keyturn.package.player_ahead import PlayerAhead
from keyturn.package.player_pictures import MOVING, player_of
from keyturn.package.radio_frames import make_frames_of
from keyturn.package.radio_job import RadioJob
from keyturn.package.smaller import Smaller
from keyturn.package.stick import write_stick
from keyturn.pages.card import install_text
from keyturn.radio import desc
from keyturn.renumber.plan import Plan
from keyturn.renumber.planned_parts import PlannedPart
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Kind, Reason, Refused, gathered, only
from keyturn.shop.records import (
    HandoffRecord,
    PartRecord,
    RadioPlayer,
    RadioProof,
    RadioRecord,
)
from keyturn.shop.units import MIB
from keyturn.workers.crew import Crew


@dataclass(frozen=True, slots=True)
class RadioOutput:
    """What was made for one radio. The files are in the folder of its `RadioJob`."""

    record: RadioRecord
    proof: RadioProof
    player: RadioPlayer | None
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class _Made:
    """The animation as it goes into the zip; `job` holds the plan that it plays by."""

    job: RadioJob
    animation: Animation
    logo: bytes
    logo_number: int
    reasons: tuple[Reason, ...]

    @property
    def fits(self) -> bool:
        """Is it small enough for its radio?"""
        return not only(self.reasons, Kind.REFUSE)

    @property
    def numbers(self) -> tuple[tuple[int, ...], ...]:
        """Picture numbers of each part in playing order."""
        return tuple(part.numbers for part in self.animation)


def make_radio(job: RadioJob, crew: Crew, progress: Progress) -> RadioOutput:
    """Fill `job.folder` with what goes on the stick. Nothing is written where the animation is too large for its radio.

    Raise `Refused` with every broken picture, `Stopped` where `progress` says that the work is to stop.
    """
    job.folder.mkdir()
    progress.stage("frames")
    name = job.plan.radio.name
    with FrameStore(job.scratch / name) as store, DigestedZip(job.scratch / f"{name}.zip") as zipped:
        numbers: dict[Source, int] = {}
        watch = FlashWatch(job, store, numbers, progress)
        crew = WatchedCrew(crew, watch)
        ahead = PlayerAhead(job, MOVING[0])
        logo = make_frames_of(job, store, ahead, crew, progress, numbers)
        made = _fitted(job, numbers, logo, store, crew, progress)
        watch.follow(made.job.plan)
        progress.stage("package")
        if made.fits:
            animation.write(made.job.plan, made.animation, store, zipped.path)
            zipped.finish()
        progress.stage("preview")
        player = player_of(made.job, made.logo_number, made.numbers, store, ahead, crew) if made.fits else None
        seen = _judged(made, store, crew, progress)
    progress.stage("package")
    return _output(made, zipped, seen, store, player)


def _fitted(
    job: RadioJob, numbers: dict[Source, int], logo: FrameDone, store: FrameStore, crew: Crew, progress: Progress
) -> _Made:
    """Choose for every picture the file that suits the radio."""
    plan = job.plan
    logo_number = store.show(logo)
    smaller = Smaller(store, crew, progress, job.rules.intake.stages.smaller)
    playing = [[numbers[source] for source in part.sources] for part in plan.parts]
    plain = animation.lossless([part.row.path for part in plan.parts], playing, store)
    unchanged = logo_number if logo_number == playing[0][0] else None
    made = fitted(plan, plain, unchanged, smaller, may_thin=job.manifest.motion.thin)
    data, mended = fitted_logo(plan, logo.data, smaller)
    return _Made(replace(job, plan=made.plan), made.animation, data, logo_number, (*made.reasons, *mended))


@dataclass(frozen=True, slots=True)
class _Seen:
    """What the checks found. `difference` shows where logo and frame 1 differ, as a data URI.

    `joins` are the changes from each part's last frame to the next part's first.
    """

    flash: FlashResult
    handoff: HandoffRecord
    difference: str | None
    changes: tuple[tuple[float, ...], ...]
    joins: tuple[float, ...]


def _judged(made: _Made, store: FrameStore, crew: WatchedCrew, progress: Progress) -> _Seen:
    """Judge what was made. Raise `Refused` where that takes too long, `Stopped` where the work is to stop."""
    progress.stage("judge")
    flash = flash_result(made.job, PictureNumbers(made.logo_number, made.numbers), store, progress, crew.watch)
    handoff, difference = _handoff(made, store, crew)
    joins = tuple(store.changes((before[-1], after[0]))[1] for before, after in pairwise(made.numbers))
    return _Seen(flash, handoff, difference, tuple(map(store.changes, made.numbers)), joins)


def _output(
    made: _Made, zipped: DigestedZip, seen: _Seen, store: FrameStore, player: RadioPlayer | None
) -> RadioOutput:
    """Fill the stick's folder and write down what was made; `store` may be closed."""
    record = _record(made, seen, zipped)
    reasons = _reasons(made, record, store, seen)
    proof = RadioProof(
        radio=record.radio,
        logo=store.thumbs[made.logo_number],
        frames=tuple(store.thumbs),
        order=made.numbers,
        changes=seen.changes,
        handoff_picture=seen.difference,
    )
    return RadioOutput(record.model_copy(update={"reasons": reasons}), proof, player, reasons)


# -- judging ----------------------------------------------------------------------------------------


def _handoff(made: _Made, store: FrameStore, crew: Crew) -> tuple[HandoffRecord, str | None]:
    """Compare the logo with frame 1; return the figures and a picture of the difference as a data URI."""
    plan, first = made.job.plan, made.numbers[0][0]
    file = made.animation[0].files[first]
    if made.logo_number == first and file.lost == 0:
        return HandoffRecord(share_changed=0.0, mean_difference=0.0), None
    whole = store.whole[first] if file.cut else file
    jobs = [Compare(made.logo, store.read(whole), made.job.look().thumb_px)]
    (result,) = crew.run(compare, jobs, lambda job: plan.logo.name if plan.logo else "")
    if isinstance(result, Refused):
        raise result
    record, picture = result
    return record, data_uri(picture)


def _reasons(made: _Made, record: RadioRecord, store: FrameStore, seen: _Seen) -> tuple[Reason, ...]:
    plan, safety = made.job.plan, made.job.rules.safety
    why = [part.hold_screen for part in made.job.manifest.part if part.hold_screen]
    found = [
        *gathered(store.reasons),
        *seen.flash.reasons,
        *memory_reasons(plan, animation.cropped_sizes(made.animation)),
        *made.reasons,
        *logo_reasons(plan, len(made.logo)),
        *delay_reasons(plan, record.timeline, why, safety),
        *handoff_reasons(record.handoff, plan.logo is not None),
        *hold_reasons(plan, made.numbers),
        *stumble_reasons(plan, seen.changes, made.numbers),
        *join_reasons(plan, seen.changes, seen.joins),
        *words_reasons(plan),
        *dithering_reasons(store.banding, plan.radio.panel.bits),
    ]
    return tuple(dict.fromkeys([*plan.reasons, *found]))


# -- writing down -----------------------------------------------------------------------------------


def _record(made: _Made, seen: _Seen, zipped: DigestedZip) -> RadioRecord:
    """Return the record. The stick's folder is written last, so that INSTALL.txt can quote the record."""
    job, plan, radio = made.job, made.job.plan, made.job.plan.radio
    record = RadioRecord(
        radio=radio.name,
        title=radio.title,
        width=radio.panel.width,
        height=radio.panel.height,
        bits=radio.panel.bits,
        folder=job.folder.name,
        desc=desc.write(animation.desc_of(plan, made.animation)).decode("ascii"),
        fps=plan.fps,
        parts=tuple(_part_record(plan, part, packed) for part, packed in zip(plan.parts, made.animation, strict=True)),
        timeline=timeline_record(plan, job.manifest.motion.finish),
        flash=seen.flash.record,
        memory=memory_record(plan, animation.cropped_sizes(made.animation)),
        handoff=seen.handoff,
        files=(),
        zip_bytes=animation.size(plan, made.animation),
        zip_allowed_bytes=int(radio.limits.zip_mib * MIB),
    )
    if not made.fits:
        return record
    text, fat = _install_text(job, record), job.rules.usb.fat
    files = write_stick(job.folder, radio, zipped.path, made.logo, text, fat=fat, zip_sha256=zipped.sha256())
    return record.model_copy(update={"files": files})


def _part_record(plan: Plan, part: PlannedPart, packed: PackedPart) -> PartRecord:
    files = [packed.files[number] for number in packed.numbers]
    return PartRecord(
        path=part.row.path,
        type=part.row.type,
        count=part.row.count,
        pause=part.row.pause,
        pause_s=plan.pacing.pause_s(part.row.pause),
        frames=len(part.sources),
        art=part.art,
        jpeg_frames=sum(file.kind == "jpeg" for file in files),
        palette_frames=sum(file.palette for file in files),
        trimmed=packed.ground is not None,
        bytes=packed.size,
        plain_bytes=sum(file.plain_bytes for file in files),
        places=part.places,
    )


def _install_text(job: RadioJob, record: RadioRecord) -> str | None:
    """Return INSTALL.txt; None for radios that mind files that are not their own."""
    if not job.plan.radio.stick.extra_files:
        return None
    return install_text(job.job_record, record, job.plan.radio, job.rules.safety.cautions.card, job.letterhead)
