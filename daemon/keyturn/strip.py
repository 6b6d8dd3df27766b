"""One radio's strip of frames: made by the crew, packed in order, judged, and written up."""

from __future__ import annotations

import base64
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from keyturn import judge
from keyturn.crew import Crew
from keyturn.eye import handoff
from keyturn.eye.luminance import Screen
from keyturn.frame import Compare, FrameDone, FrameJob, Look, Source, compare, make_frame
from keyturn.judge import CellStore, Shown
from keyturn.manifest import Manifest
from keyturn.plan import Plan, fit_for
from keyturn.proof.card import install_text
from keyturn.reasons import Reason, Refused, gathered, note
from keyturn.records import (
    FileRecord,
    FlashRecord,
    HandoffRecord,
    JobRecord,
    PartRecord,
    RadioProof,
    RadioRecord,
    TimelineRecord,
)
from keyturn.rulebook import Rulebook
from keyturn.stages.package import ZipWriter, write_stick
from keyturn.stages.renumber import frame_name
from keyturn.unit import desc

BROKEN_SHOWN = 40
"""After so many broken pictures the artist knows enough."""

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

    `job_record` is the job's record as far as it is known; `sheet_frames` all pictures its sheet will hold.
    """

    plan: Plan
    manifest: Manifest
    rules: Rulebook
    folder: Path
    scratch: Path
    job_record: JobRecord
    sheet_frames: int

    def look(self, *, logo: bool = False) -> Look:
        radio = self.plan.radio
        return Look(
            fit=fit_for(self.manifest, radio),
            ground=self.manifest.ground,
            bits=radio.panel.bits,
            format=(radio.logo.formats if logo else radio.firmware.frame_formats)[0],
            cell_px=Screen.of(radio.panel, self.rules.safety.flash).cell_px,
            thumb_px=max(64, int(THUMB_PX * min(1.0, THUMB_FRAMES / max(1, self.sheet_frames)) ** 0.5)),
        )

    def frame(self, source: Source, *, logo: bool = False) -> FrameJob:
        return FrameJob(source, self.look(logo=logo), self.rules.intake)


@dataclass(slots=True)
class _Film:
    """What is kept of the frames once their files are in the zip: little, whatever their number."""

    cells: CellStore
    thumbs: list[str] = field(default_factory=list)
    numbers: list[list[int]] = field(default_factory=list)
    changes: list[list[float]] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    banding: list[tuple[float, float]] = field(default_factory=list)
    first: bytes = b""

    def keep(self, done: FrameDone) -> int:
        number = self.cells.add(done.digest, done.cells)
        if number == len(self.thumbs):
            self.thumbs.append(data_uri(done.thumb))
            self.reasons += done.reasons
            self.banding.append((done.banding_before, done.banding_after))
        return number

    def add(self, number: int) -> None:
        row = self.numbers[-1]
        moved = 0.0
        if row and number != row[-1]:
            moved = handoff.change(self.cells[row[-1]], self.cells[number])
        row.append(number)
        self.changes[-1].append(moved)


def make_strip(order: Order, crew: Crew, tick: Callable[[int], None]) -> Strip:
    """Builds `order.folder` (what goes on the stick). Raises `Refused` with every broken picture."""
    order.folder.mkdir()
    animation = order.scratch / f"{order.plan.radio.name}.zip"
    with CellStore(order.scratch / f"{order.plan.radio.name}.cells") as cells:
        film = _Film(cells)
        _pack(order, crew, film, animation, tick)
        logo = _logo(order, crew)
        shown = Shown(film.keep(logo), tuple(map(tuple, film.numbers)))
        flash = _flash(order, shown, cells)
        hand, picture = _handoff(order, crew, logo, film)
    timing = judge.timeline_record(order.plan, order.manifest.motion.finish)
    zip_bytes = animation.stat().st_size
    record = _record(order, timing, flash, hand, zip_bytes, animation, logo.data)
    reasons = _judged(order, record, film, len(logo.data))
    proof = RadioProof(
        radio=order.plan.radio.name,
        logo=film.thumbs[shown.logo],
        frames=tuple(film.thumbs),
        order=shown.parts,
        changes=tuple(map(tuple, film.changes)),
        handoff_picture=picture,
    )
    return Strip(record.model_copy(update={"reasons": reasons}), proof, reasons)


# -- frames -----------------------------------------------------------------------------------------


def _pack(order: Order, crew: Crew, film: _Film, animation: Path, tick: Callable[[int], None]) -> None:
    """Frames go into the zip as they come from the crew, in order; none is held longer than it must be."""
    suffix = ".png" if order.look().format == "png" else ".jpg"
    broken: list[Reason] = []
    with ZipWriter(animation) as pack:
        pack.add("desc.txt", desc.write(order.plan.desc))
        made = _frames(order, crew, film, broken)
        for part in order.plan.parts:
            film.numbers.append([])
            film.changes.append([])
            for index in range(len(part.sources)):
                tick(sum(map(len, film.numbers)))
                frame = next(made)
                if frame is None:
                    continue
                number, data = frame
                film.first = film.first or data
                film.add(number)
                if not broken:
                    pack.add(f"{part.row.path}/{frame_name(index, len(part.sources), suffix)}", data)
    if broken:
        raise Refused(broken)


def _frames(order: Order, crew: Crew, film: _Film, broken: list[Reason]) -> Iterator[tuple[int, bytes] | None]:
    """Picture number and file of every frame in playing order; each distinct source is made once.

    A broken picture gives None and its reasons.
    """
    sources = [source for part in order.plan.parts for source in part.sources]
    again = Counter(sources)
    distinct = list(dict.fromkeys(sources))
    results = crew.run(make_frame, (order.frame(s) for s in distinct), lambda job: job.source.name)
    repeats = order.scratch / "repeats"
    repeats.mkdir(exist_ok=True)
    kept: dict[Source, int | None] = {}
    for source in sources:
        if source in kept:
            number = kept[source]
            yield None if number is None else (number, (repeats / f"{number}").read_bytes())
            continue
        result = next(results)
        if isinstance(result, Refused):
            broken += result.reasons
            if len(broken) >= BROKEN_SHOWN:
                raise Refused(broken)
            kept[source] = None
            yield None
            continue
        number = film.keep(result)
        kept[source] = number
        if again[source] > 1:
            (repeats / f"{number}").write_bytes(result.data)
        yield number, result.data


def _logo(order: Order, crew: Crew) -> FrameDone:
    source = order.plan.logo or order.plan.parts[0].sources[0]
    (result,) = crew.run(make_frame, [order.frame(source, logo=True)], lambda job: job.source.name)
    if isinstance(result, Refused):
        raise result
    return result


# -- judging ----------------------------------------------------------------------------------------


def _flash(order: Order, shown: Shown, cells: CellStore) -> FlashRecord:
    rules = order.rules.safety.flash
    return judge.flash_record(judge.flashes(order.plan, shown, cells, rules), rules)


def _handoff(order: Order, crew: Crew, logo: FrameDone, film: _Film) -> tuple[HandoffRecord, str | None]:
    if film.cells.number(logo.digest) == film.numbers[0][0]:
        return HandoffRecord(share_changed=0.0, mean_difference=0.0), None
    jobs = [Compare(logo.data, film.first, order.look().thumb_px)]
    (result,) = crew.run(compare, jobs, lambda job: order.plan.logo.name if order.plan.logo else "")
    if isinstance(result, Refused):
        raise result
    record = HandoffRecord(share_changed=result.share_changed, mean_difference=result.mean_difference)
    return record, data_uri(result.picture)


def _judged(order: Order, record: RadioRecord, film: _Film, logo_bytes: int) -> tuple[Reason, ...]:
    plan, safety = order.plan, order.rules.safety
    why = [p.hold_screen for p in order.manifest.part if p.hold_screen]
    found = [
        *gathered(film.reasons),
        *judge.flash_reasons(record.flash, safety.flash),
        *judge.memory_reasons(plan),
        *judge.size_reasons(plan, record.zip_bytes, logo_bytes),
        *judge.delay_reasons(plan, record.timeline, why, safety),
        *judge.handoff_reasons(record.handoff, plan.logo is not None),
        *judge.hold_reasons(plan, film.numbers),
        *judge.stumble_reasons(plan, film.changes),
        *_dithered(film, plan.radio.panel.bits),
    ]
    return tuple(dict.fromkeys([*plan.reasons, *found]))


def _dithered(film: _Film, bits: int) -> list[Reason]:
    if bits != 16:
        return []
    before, after = (sum(values) / len(film.banding) for values in zip(*film.banding, strict=True))
    what = f"the panel shows 16-bit colour: pictures were dithered, banding went from {before:.2f} to {after:.2f}"
    return [note("dithered", what)]


# -- writing up -------------------------------------------------------------------------------------


def _record(
    order: Order,
    timing: TimelineRecord,
    flash: FlashRecord,
    hand: HandoffRecord,
    zip_bytes: int,
    animation: Path,
    logo: bytes,
) -> RadioRecord:
    """The radio's record; its stick folder is written last, so that INSTALL.txt can quote the record."""
    plan, radio = order.plan, order.plan.radio
    record = RadioRecord(
        radio=radio.name,
        title=radio.title,
        width=radio.panel.width,
        height=radio.panel.height,
        bits=radio.panel.bits,
        folder=order.folder.name,
        desc=desc.write(plan.desc).decode("ascii"),
        fps=plan.fps,
        parts=tuple(
            PartRecord(
                path=p.row.path,
                type=p.row.type,
                count=p.row.count,
                pause=p.row.pause,
                pause_s=plan.pacing.pause_s(p.row.pause),
                frames=len(p.sources),
                art=p.art,
            )
            for p in plan.parts
        ),
        timeline=timing,
        flash=flash,
        memory=judge.memory_record(plan),
        handoff=hand,
        files=(),
        zip_bytes=zip_bytes,
        zip_allowed_bytes=int(radio.limits.zip_mib * 2**20),
    )
    files = write_stick(order.folder, radio, animation, logo, _stick_text(order, record), fat=order.rules.usb.fat)
    return record.model_copy(
        update={"files": tuple(FileRecord(path=f.path, size=f.size, sha256=f.sha256) for f in files)}
    )


def _stick_text(order: Order, record: RadioRecord) -> str | None:
    """INSTALL.txt, where the radio does not mind files that are not its own."""
    if not order.plan.radio.stick.extra_files:
        return None
    return install_text(order.job_record, record, order.plan.radio, order.rules.safety.cautions.card)


def data_uri(webp: bytes) -> str:
    return "data:image/webp;base64," + base64.b64encode(webp).decode("ascii")
