"""One radio's strip of frames: made by the crew, packed in order, judged, and written up."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from keyturn.eye.luminance import Screen
from keyturn.flatten.frame_source import Source
from keyturn.judge import findings
from keyturn.judge.findings import CellStore, Shown
from keyturn.manifest.models import Manifest
from keyturn.package import animation as reel
from keyturn.package import fit_size, recompress
from keyturn.package.animation import Laid, Reel, Store, Take
from keyturn.package.frame import FrameDone, FrameJob, Look, make_frame
from keyturn.package.picture_tasks import Compare, compare
from keyturn.package.recompress import Desk
from keyturn.package.shooting import Film, data_uri, shoot
from keyturn.package.stick import write_stick
from keyturn.pages.card import install_text
from keyturn.radio import desc
from keyturn.renumber.plan import Plan, PlannedPart, fit_for
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, Refused, gathered, note
from keyturn.shop.records import (
    FileRecord,
    FlashRecord,
    HandoffRecord,
    JobRecord,
    PartRecord,
    RadioProof,
    RadioRecord,
    TimelineRecord,
)
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import Crew

THUMB_PX = 320
THUMB_FRAMES = 120
"""Up to this many frames the sheet's pictures have the full size; beyond, they shrink to keep it mailable."""


@dataclass(frozen=True, slots=True)
class Strip:
    record: RadioRecord
    proof: RadioProof
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Order:
    """What a strip is made from and where to.

    `job_record` is the job's record as far as it is known; `sheet_frames` all pictures its sheet will hold; `stage`
    hears what is being done once the frames are made.
    """

    plan: Plan
    manifest: Manifest
    rules: Rulebook
    folder: Path
    scratch: Path
    job_record: JobRecord
    sheet_frames: int
    stage: Callable[[str], None] = lambda stage: None

    def look(self, *, logo: bool = False) -> Look:
        radio = self.plan.radio
        taken = radio.logo.formats[:1] if logo else radio.firmware.frame_formats
        return Look(
            fit=fit_for(self.manifest, radio),
            ground=self.manifest.ground,
            bits=radio.panel.bits,
            format="png" if "png" in taken else "jpeg",
            cell_px=Screen.of(radio.panel, self.rules.safety.flash).cell_px,
            thumb_px=max(64, int(THUMB_PX * min(1.0, THUMB_FRAMES / max(1, self.sheet_frames)) ** 0.5)),
            palette=radio.logo.palette if logo else radio.firmware.palette,
            trim="none" if logo else _ground(radio),
        )

    def frame(self, source: Source, *, logo: bool = False) -> FrameJob:
        return FrameJob(source, self.look(logo=logo), self.rules.intake)


def _ground(radio: Radio) -> Literal["none", "black", "any"]:
    if not radio.firmware.trim:
        return "none"
    return "any" if radio.firmware.row_colour else "black"


@dataclass(frozen=True, slots=True)
class _Cutting:
    """The strip as it goes out: `order` holds the plan it plays by, `numbers[p][f]` its pictures."""

    order: Order
    reel: Reel
    logo: bytes
    logo_number: int
    reasons: tuple[Reason, ...]

    @property
    def numbers(self) -> tuple[tuple[int, ...], ...]:
        return tuple(laid.numbers for laid in self.reel)


def make_strip(order: Order, crew: Crew, tick: Callable[[int], None]) -> Strip:
    """Builds `order.folder` (what goes on the stick). Raises `Refused` with every broken picture."""
    order.folder.mkdir()
    base = str(order.scratch / order.plan.radio.name)
    with CellStore(Path(f"{base}.cells")) as cells, Store(Path(f"{base}.files")) as store:
        film = Film(cells, store)
        cutting = _cut(order, crew, film, tick)
        order = cutting.order
        order.stage("package")
        animation = Path(f"{base}.zip")
        reel.write(order.plan, cutting.reel, store, animation)
        order.stage("judge")
        shown = Shown(cutting.logo_number, cutting.numbers)
        flash = _flash(order, shown, cells)
        hand, picture = _handoff(cutting, crew, film)
        changes = tuple(map(film.changes, cutting.numbers))
    timing = findings.timeline_record(order.plan, order.manifest.motion.finish)
    order.stage("package")
    record = _record(cutting, timing, flash, hand, animation, film.takes)
    reasons = _judged(cutting, record, film, changes)
    proof = RadioProof(
        radio=order.plan.radio.name,
        logo=film.thumbs[shown.logo],
        frames=tuple(film.thumbs),
        order=shown.parts,
        changes=changes,
        handoff_picture=picture,
    )
    return Strip(record.model_copy(update={"reasons": reasons}), proof, reasons)


# -- frames -----------------------------------------------------------------------------------------


def _cut(order: Order, crew: Crew, film: Film, tick: Callable[[int], None]) -> _Cutting:
    """Every frame made, and of the files it can stand in those chosen that suit the radio."""
    plan = order.plan
    numbers = shoot(plan, order.frame, crew, film, tick)
    logo = _logo(order, crew)
    logo_number = film.show(logo)
    desk = Desk(film.store, crew, film.takes, lambda: tick(plan.frame_count))
    plain = reel.lossless([part.row.path for part in plan.parts], numbers, film.takes)
    first = logo_number if logo_number == numbers[0][0] else None
    chosen, told = recompress.photographs(plain, desk, plan.radio, first)
    fitted = fit_size.fitted(plan, plain, chosen, told, desk, may_thin=order.manifest.motion.thin)
    data, mends = fit_size.fitted_logo(plan, logo.data, desk)
    return _Cutting(replace(order, plan=fitted.plan), fitted.reel, data, logo_number, (*fitted.reasons, *mends))


def _logo(order: Order, crew: Crew) -> FrameDone:
    source = order.plan.logo or order.plan.parts[0].sources[0]
    (result,) = crew.run(make_frame, [order.frame(source, logo=True)], lambda job: job.source.name)
    if isinstance(result, Refused):
        raise result
    return result


# -- judging ----------------------------------------------------------------------------------------


def _flash(order: Order, shown: Shown, cells: CellStore) -> FlashRecord:
    rules = order.rules.safety.flash
    return findings.flash_record(findings.flashes(order.plan, shown, cells, rules), rules)


def _handoff(cutting: _Cutting, crew: Crew, film: Film) -> tuple[HandoffRecord, str | None]:
    plan, first = cutting.order.plan, cutting.numbers[0][0]
    piece = cutting.reel[0].pieces[first]
    if cutting.logo_number == first and piece.lost == 0:
        return HandoffRecord(share_changed=0.0, mean_difference=0.0), None
    whole = film.takes[first].whole if piece.cut else piece
    jobs = [Compare(cutting.logo, film.store.read(whole), cutting.order.look().thumb_px)]
    (result,) = crew.run(compare, jobs, lambda job: plan.logo.name if plan.logo else "")
    if isinstance(result, Refused):
        raise result
    record = HandoffRecord(share_changed=result.share_changed, mean_difference=result.mean_difference)
    return record, data_uri(result.picture)


def _judged(
    cutting: _Cutting, record: RadioRecord, film: Film, changes: Sequence[Sequence[float]]
) -> tuple[Reason, ...]:
    order = cutting.order
    plan, safety = order.plan, order.rules.safety
    why = [p.hold_screen for p in order.manifest.part if p.hold_screen]
    found = [
        *gathered(film.reasons),
        *findings.flash_reasons(record.flash, safety.flash),
        *findings.memory_reasons(plan, reel.cropped(cutting.reel)),
        *cutting.reasons,
        *findings.logo_reasons(plan, len(cutting.logo)),
        *findings.delay_reasons(plan, record.timeline, why, safety),
        *findings.handoff_reasons(record.handoff, plan.logo is not None),
        *findings.hold_reasons(plan, cutting.numbers),
        *findings.stumble_reasons(plan, changes),
        *_dithered(film, plan.radio.panel.bits),
    ]
    return tuple(dict.fromkeys([*plan.reasons, *found]))


def _dithered(film: Film, bits: int) -> list[Reason]:
    if bits != 16:
        return []
    before, after = (sum(values) / len(film.banding) for values in zip(*film.banding, strict=True))
    what = f"the panel shows 16-bit colour: pictures were dithered, banding went from {before:.2f} to {after:.2f}"
    return [note("dithered", what)]


# -- writing up -------------------------------------------------------------------------------------


def _record(
    cutting: _Cutting,
    timing: TimelineRecord,
    flash: FlashRecord,
    hand: HandoffRecord,
    animation: Path,
    takes: Mapping[int, Take],
) -> RadioRecord:
    """The radio's record; its stick folder is written last, so that INSTALL.txt can quote the record."""
    order = cutting.order
    plan, radio = order.plan, order.plan.radio
    record = RadioRecord(
        radio=radio.name,
        title=radio.title,
        width=radio.panel.width,
        height=radio.panel.height,
        bits=radio.panel.bits,
        folder=order.folder.name,
        desc=desc.write(reel.desc_of(plan, cutting.reel)).decode("ascii"),
        fps=plan.fps,
        parts=tuple(_part(plan, p, laid, takes) for p, laid in zip(plan.parts, cutting.reel, strict=True)),
        timeline=timing,
        flash=flash,
        memory=findings.memory_record(plan, reel.cropped(cutting.reel)),
        handoff=hand,
        files=(),
        zip_bytes=animation.stat().st_size,
        zip_allowed_bytes=int(radio.limits.zip_mib * 2**20),
    )
    text = _stick_text(order, record)
    files = write_stick(order.folder, radio, animation, cutting.logo, text, fat=order.rules.usb.fat)
    return record.model_copy(
        update={"files": tuple(FileRecord(path=f.path, size=f.size, sha256=f.sha256) for f in files)}
    )


def _part(plan: Plan, part: PlannedPart, laid: Laid, takes: Mapping[int, Take]) -> PartRecord:
    pieces = [laid.pieces[number] for number in laid.numbers]
    return PartRecord(
        path=part.row.path,
        type=part.row.type,
        count=part.row.count,
        pause=part.row.pause,
        pause_s=plan.pacing.pause_s(part.row.pause),
        frames=len(part.sources),
        art=part.art,
        jpeg_frames=sum(piece.kind == "jpeg" for piece in pieces),
        palette_frames=sum(piece.palette for piece in pieces),
        trimmed=laid.ground is not None,
        bytes=laid.size,
        plain_bytes=sum(takes[number].plain_bytes for number in laid.numbers),
    )


def _stick_text(order: Order, record: RadioRecord) -> str | None:
    """INSTALL.txt, where the radio does not mind files that are not its own."""
    if not order.plan.radio.stick.extra_files:
        return None
    return install_text(order.job_record, record, order.plan.radio, order.rules.safety.cautions.card)
