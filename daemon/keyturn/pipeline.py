"""The line: one drop from the artist's files to a built revision, stage by stage.

    take in -> read the manifest -> choose the art -> plan for each radio
    -> frames (normalize, flatten, encode) -> package -> judge -> records

Sender faults raise `Refused` with everything found; the shop's faults come through as OSError.
Nothing here moves a drop: that is done by `service/drop_folders.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from keyturn import __version__
from keyturn.flatten.frame_source import Source
from keyturn.inbox.survey import OURS, Survey, digest, survey
from keyturn.inbox.unpack import unpack
from keyturn.judge import crop_check
from keyturn.manifest import models as manifests
from keyturn.manifest.models import Manifest
from keyturn.normalize import probing
from keyturn.package import PRELOAD
from keyturn.package.picture_tasks import Check, check
from keyturn.package.radio_output import Order, Strip, make_strip
from keyturn.pages.card import cards
from keyturn.renumber.parts import JobArt, is_art, job_art
from keyturn.renumber.plan import Plan, plan
from keyturn.renumber.ready_made import adopt, holds_bundle
from keyturn.shop.file_names import is_junk, safe_name
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind, Reason, Refused, mended, only, refuse, stop_if_refused
from keyturn.shop.records import JobRecord, ProofRecord
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import Settings
from keyturn.workers.choice import chosen_crew
from keyturn.workers.crew import Crew


def frame_crew(wanted: Settings, rules: Rulebook) -> Crew:
    """Return the crew that the settings name, its workers ready for this work. Raise as `chosen_crew`."""
    return chosen_crew(wanted, rules, PRELOAD)


class Stopped(Exception):  # noqa: N818 - the service is ending; the drop stays where it is
    """The work was given up because the service is stopping. Nothing is lost: it is done again."""


@dataclass(frozen=True)
class Bench:
    """What the line works with. `stop` is asked between frames; `progress` hears stage, done, total."""

    rules: Rulebook
    crew: Crew
    now: Callable[[], datetime]
    stop: Callable[[], bool] = lambda: False
    progress: Callable[[str, int, int], None] = lambda stage, done, total: None


@dataclass(frozen=True, slots=True)
class Job:
    """A drop understood: its files, its manifest, its art and a plan for each radio."""

    found: Survey
    manifest: Manifest
    name: str
    art: JobArt
    plans: tuple[Plan, ...]
    reasons: tuple[Reason, ...]

    @property
    def customer_folder(self) -> str:
        return safe_name(self.manifest.customer)

    @property
    def job_folder(self) -> str:
        return safe_name(self.name)


@dataclass(frozen=True, slots=True)
class Made:
    record: JobRecord
    proof: ProofRecord


def understand(drop: Path, name: str, scratch: Path, bench: Bench) -> Job:
    """Everything that can be known before a picture is decoded. Raises `Refused` with all that was found."""
    root, reasons = _artist_root(drop, name, scratch, bench)
    found = survey(root, bench.rules.intake)
    manifest, faults = manifests.read_leniently(root, max_kib=bench.rules.intake.caps.manifest_kib)
    reasons += [*found.reasons, *faults]
    if manifest is None:
        raise Refused(reasons)
    radios = _radios(manifest, bench.rules, reasons)
    try:
        job = _understood(found, manifest, name, radios, scratch, bench)
    except Refused as refused:
        reasons += refused.reasons
        raise Refused(reasons + _broken_pictures(found, bench, reasons)) from None
    reasons += job.reasons
    every = [*reasons, *_told_apart(job.plans)]
    if only(every, Kind.REFUSE):
        raise Refused(every + _broken_pictures(found, bench, every))
    return replace(job, reasons=tuple(reasons))


def _understood(
    found: Survey, manifest: Manifest, name: str, radios: tuple[Radio, ...], scratch: Path, bench: Bench
) -> Job:
    art_in, reasons = found, list[Reason]()
    if holds_bundle(found, manifest):
        art_in, manifest, adopted = adopt(found, manifest, scratch, bench.rules, bench.crew)
        reasons += adopted
    intake = bench.rules.intake
    try:
        art = job_art(manifest, art_in, intake, probing.by(bench.crew))
    except Refused as refused:
        raise Refused([*reasons, *refused.reasons]) from None
    plans = tuple(plan(manifest, art, art_in.root, radio, intake.enlarging) for radio in radios)
    reasons += [*art.reasons, *_too_many_frames(plans, bench)]
    return Job(found, manifest, manifest.job or name, art, plans, tuple(reasons))


def make(job: Job, claim: str, drop_name: str, revision: int, staging: Path, scratch: Path, bench: Bench) -> Made:
    """Builds the revision in `staging`: stick folders, card, job.json and proof.json.

    Raises `Refused` where the made animation may not leave the shop.
    """
    total = sum(p.frame_count for p in job.plans)
    record = JobRecord(
        keyturn=__version__,
        customer=job.manifest.customer,
        job=job.name,
        artist=job.manifest.artist,
        drop=drop_name,
        claim=claim,
        digest=digest(job.found),
        made_at=bench.now().isoformat(timespec="seconds"),
        revision=revision,
        radios=(),
        reasons=job.reasons,
    )
    strips: list[Strip] = []
    done = 0
    for planned in crop_check.noted(job.plans, job.manifest, job.art, bench.rules.intake, bench.crew):
        folder = staging / ("usb" if len(job.plans) == 1 else f"usb-{planned.radio.name}")
        bench.progress("frames", done, total)
        ticker = _Ticker(bench, done, total)
        order = Order(planned, job.manifest, bench.rules, folder, scratch, record, total, ticker.stage)
        strips.append(make_strip(order, bench.crew, ticker))
        done += planned.frame_count
    bench.progress("papers", total, total)
    stop_if_refused([*job.reasons, *_told_apart(job.plans, strips)])
    record = record.model_copy(update={"radios": tuple(s.record for s in strips)})
    made = Made(record, ProofRecord(radios=tuple(s.proof for s in strips)))
    _write_papers(staging, made, bench.rules)
    return made


@dataclass(frozen=True, slots=True)
class _Ticker:
    """Counts frames across radios and asks between two frames whether the service is stopping."""

    bench: Bench
    before: int
    total: int

    def __call__(self, done: int) -> None:
        if self.bench.stop():
            raise Stopped
        self.bench.progress("frames", self.before + done, self.total)

    def stage(self, name: str) -> None:
        """This radio's frames are made; what comes now."""
        self.bench.progress(name, self.total, self.total)


def _write_papers(staging: Path, made: Made, rules: Rulebook) -> None:
    page = cards(made.record, rules.radios, rules.safety.cautions.card)
    papers = {
        "card.html": page,
        "job.json": made.record.model_dump_json(indent=2),
        "proof.json": made.proof.model_dump_json(),
    }
    for name, text in papers.items():
        (staging / name).write_text(text, encoding="utf-8")


# -- taking in --------------------------------------------------------------------------------------


def _artist_root(drop: Path, name: str, scratch: Path, bench: Bench) -> tuple[Path, list[Reason]]:
    """The folder with the manifest: the drop, what was in its zip, or the one folder inside it."""
    reasons: list[Reason] = []
    lone = _lone_zip(drop, bench.rules)
    if lone is not None:
        inside = scratch / "unpacked"
        inside.mkdir()
        reasons += unpack(lone, inside, bench.rules.intake, name=lone.name, fat=bench.rules.usb.fat)
        drop = inside
    folders = [p for p in drop.iterdir() if p.is_dir() and not p.is_symlink()]
    nested = [p for p in folders if (p / manifests.FILE_NAME).is_file()]
    if not (drop / manifests.FILE_NAME).exists() and len(nested) == 1:
        what = f"the drop lay in a folder of its own ({nested[0].name}/)"
        reasons.append(mended("folder-in-folder", what))
        return nested[0], reasons
    return drop, reasons


def _lone_zip(drop: Path, rules: Rulebook) -> Path | None:
    files = [p for p in drop.iterdir() if p.name not in OURS and not is_junk(p.name, rules.intake.names)]
    if len(files) == 1 and files[0].suffix.lower() == ".zip" and files[0].name != "bootanimation.zip":
        return files[0] if files[0].is_file() and not files[0].is_symlink() else None
    return None


def _radios(manifest: Manifest, rules: Rulebook, reasons: list[Reason]) -> tuple[Radio, ...]:
    found = [rules.radio(name) for name in manifest.radio]
    reasons += [r for r in found if isinstance(r, Reason)]
    return tuple(r for r in found if isinstance(r, Radio))


def _too_many_frames(plans: tuple[Plan, ...], bench: Bench) -> list[Reason]:
    most = bench.rules.intake.caps.frames
    return [
        refuse("too-many-frames", f"{p.frame_count} frames for {p.radio.name}", f"at most {most} frames a job")
        for p in plans
        if p.frame_count > most
    ]


def _told_apart(plans: tuple[Plan, ...], strips: list[Strip] | None = None) -> list[Reason]:
    """The radios' reasons; with several radios each says whose it is."""
    every = [(p.radio.name, p.reasons) for p in plans] + [(s.record.radio, s.reasons) for s in strips or ()]
    if len(plans) == 1:
        return [reason for _, reasons in every for reason in reasons]
    told = [r.model_copy(update={"what": f"{name}: {r.what}"}) for name, reasons in every for r in reasons]
    return list(dict.fromkeys(told))


# -- all at once ------------------------------------------------------------------------------------


def _broken_pictures(found: Survey, bench: Bench, known: list[Reason]) -> list[Reason]:
    """A drop that is refused anyway is looked through to the end, so that it is mended in one go."""
    named = {r.file for r in known}
    jobs = [
        Check(Source(found.root / name, name), bench.rules.intake)
        for name in found.files
        if is_art(name) and name not in named
    ]
    broken: list[Reason] = []
    for result in bench.crew.run(check, jobs, lambda job: job.source.name):
        if bench.stop():
            raise Stopped
        if isinstance(result, Refused):
            broken += result.reasons
    return broken
