"""One drop through every stage in order, from the artist's files to a built revision.

`understand`: find the artist's folder -> list its files -> read the manifest -> choose the art -> plan each radio.
`make`: for each radio normalize, flatten, renumber and package its frames, and judge what was made -> card and records.

Sender faults raise `Refused` with everything found. Faults of the shop's machine come through as OSError.
Nothing here moves a drop; `service.drop_folders` does.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from keyturn import __version__
from keyturn.flatten.frame_source import Source
from keyturn.inbox.artist_folder import artist_folder
from keyturn.inbox.survey import Survey, digest, survey
from keyturn.judge import crop_check
from keyturn.manifest import reading
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.normalize import drop_files, probing
from keyturn.outbox.record_files import refused_before
from keyturn.outbox.sheets import OWN_PAGE
from keyturn.package import held_picture
from keyturn.package.first_frames import others_too_large
from keyturn.package.frames_together import with_looks_beside
from keyturn.package.picture_tasks import Check, check
from keyturn.package.radio_job import RadioJob
from keyturn.package.radio_output import RadioOutput, make_radio
from keyturn.package.refused_pictures import exhibited, refused_pictures
from keyturn.pages.card import cards
from keyturn.pages.languages import language_of_shop
from keyturn.pages.papers_ahead import papers_ahead
from keyturn.pipeline.bench import Bench, frame_crew, kept_results
from keyturn.pipeline.job import Job, Made, OpenedDrop
from keyturn.renumber import packed_art
from keyturn.renumber.frame_sheets import with_cells
from keyturn.renumber.job_words import WordsBench, words_of
from keyturn.renumber.parts import LookedInto, job_art
from keyturn.renumber.plan import Plan, plan
from keyturn.renumber.ready_made import adopt, holds_bundle
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import REASONS_SHOWN, Kind, Reason, Refused, first_of, only, refuse, stop_if_refused
from keyturn.shop.records import JobRecord, PlayerRecord, ProofRecord, Rejection
from keyturn.shop.rulebook import Rulebook

__all__ = ["Bench", "Job", "Made", "OpenedDrop", "frame_crew", "kept_results"]


# -- before any picture is decoded ------------------------------------------------------------------


def opened(drop: Path, scratch: Path, rules: Rulebook) -> OpenedDrop:
    """Return the drop with its files and manifest. Raise `Refused` where its archive cannot be unpacked."""
    root, reasons = artist_folder(drop, scratch, rules)
    found = survey(root, rules.intake)
    said = reading.read_leniently(root, max_kib=rules.intake.caps.manifest_kib, radios=rules.radios)
    return OpenedDrop(found, tuple(reasons), *said, refused_before(drop) or refused_before(root))


def understand(drop: Path | OpenedDrop, name: str, scratch: Path, bench: Bench) -> Job:
    """Return all that can be known of `drop` before a picture is decoded.

    Raise `Refused` with all that was found, the customer and the artist's folder as far as they are known.
    """
    drop = opened(drop, scratch, bench.rules) if isinstance(drop, Path) else drop
    found, root, reasons = drop.found, drop.found.root, list(drop.reasons)
    manifest, faults = drop.manifest, drop.faults
    if in_cloud := [reason for reason in found.reasons if reason.code == "still-in-cloud"]:
        raise Refused(in_cloud, customer=manifest.customer if manifest else None, root=root)
    if manifest is None:
        reasons += [*found.reasons, *packed_art.without_manifest(found, faults, bench.rules)]
        raise Refused(reasons, root=root)
    reasons += [*found.reasons, *faults]
    if manifest.stock:
        what = "these are a radio's stock files, which are kept as they are: no job is made of them"
        told = refuse("stock-not-a-job", what, "put the folder into the shop's inbox", file=FILE_NAME, field="stock")
        raise Refused([*reasons, told], customer=manifest.customer, root=root)
    if manifest.calibrate:
        what = "these are films of a radio's starts, which teach its profile: no job is made of them"
        mend = f"put the folder into the shop's inbox, or run: keyturn calibrate {manifest.calibrate} --film FILMS"
        told = refuse("films-not-a-job", what, mend, file=FILE_NAME, field="calibrate")
        raise Refused([*reasons, told], customer=manifest.customer, root=root)
    try:
        job = planned(found, manifest, name, scratch, bench, reasons)
    except Refused as refused:
        every = [*refused.reasons, *broken_pictures(found, bench, refused.reasons)]
        raise Refused(every, customer=manifest.customer, root=root) from None
    bench.progress.expect(job.frame_count)
    return replace(job, mends=drop.mends)


def planned(
    found: Survey,
    manifest: Manifest,
    name: str,
    scratch: Path,
    bench: Bench,
    reasons: Sequence[Reason] = (),
    known: LookedInto | None = None,
) -> Job:
    """Return the job that `manifest` wants of the files `found`, planned for each of its radios.

    `reasons` are those that are known, and `known` is as in `job_art`. Raise `Refused` with these reasons and all that
    was found.
    """
    radios = [bench.rules.radio(wanted) for wanted in manifest.radio]
    unknown = [radio for radio in radios if isinstance(radio, Reason)]
    reasons = [*reasons, *unknown, *bench.rules.radios_renamed(manifest.radio)]
    try:
        job = _with_art(found, manifest, name, tuple(r for r in radios if isinstance(r, Radio)), scratch, bench, known)
    except Refused as refused:
        raise Refused([*reasons, *refused.reasons]) from None
    stop_if_refused([*reasons, *job.reasons, *_by_radio(job.plans)])
    return replace(job, reasons=(*reasons, *job.reasons))


def _with_art(
    found: Survey,
    manifest: Manifest,
    name: str,
    radios: tuple[Radio, ...],
    scratch: Path,
    bench: Bench,
    known: LookedInto | None,
) -> Job:
    """Choose the art and plan it for each radio. A ready-made animation is taken apart first."""
    art_in, reasons = found, list[Reason]()
    if holds_bundle(found, manifest):
        art_in, manifest, adopted = adopt(found, manifest, scratch, bench.rules, bench.crew)
        reasons += adopted
    else:
        art_in, unpacked = packed_art.with_packed_art(found, scratch, bench.rules)
        reasons += unpacked
    intake = bench.rules.intake
    try:
        known = known if art_in is found else None
        words = words_of(manifest, [r.panel for r in radios], WordsBench(art_in, bench.fonts, intake, bench.crew))
        art = job_art(manifest, art_in, intake, probing.by(bench.crew), bench.rules.kinds, known, words)
        art = with_cells(art, art_in.root, intake, bench.crew)
    except Refused as refused:
        raise Refused([*reasons, *refused.reasons]) from None
    plans = tuple(plan(manifest, art, art_in.root, radio, intake) for radio in radios)
    reasons += [*art.reasons, *_too_many_frames(plans, intake.caps.frames)]
    return Job(found, manifest, manifest.job or name, art, plans, tuple(reasons))


def _too_many_frames(plans: tuple[Plan, ...], most: int) -> list[Reason]:
    return [
        refuse("too-many-frames", f"makes {p.frame_count} frames for {p.radio.name}", f"make at most {most}")
        for p in plans
        if p.frame_count > most
    ]


def _by_radio(plans: tuple[Plan, ...], outputs: tuple[RadioOutput, ...] = ()) -> list[Reason]:
    """Return the radios' reasons. Where the job has several radios, each reason names its radio."""
    every = [(p.radio.name, p.reasons) for p in plans] + [(made.record.radio, made.reasons) for made in outputs]
    if len(plans) == 1:
        return [reason for _, reasons in every for reason in reasons]
    named = [r.model_copy(update={"what": f"{name}: {r.what}"}) for name, reasons in every for r in reasons]
    return list(dict.fromkeys(named))


def broken_pictures(found: Survey, bench: Bench, known: Sequence[Reason]) -> list[Reason]:
    """Read every picture of a drop that is refused anyway, so that the artist can mend all at once.

    Where the drop's time is up, the refusal that says so is the last one.
    """
    named = {reason.file for reason in known}
    files = drop_files.look_into(found, bench.rules.intake, bench.rules.kinds)
    wanted = sorted(files.art.difference(files.not_taken).difference(named))
    jobs = [Check(Source(found.root / name, name), bench.rules.intake) for name in wanted]
    broken: list[Reason] = []
    try:
        for result in bench.crew.run(check, jobs, lambda job: job.source.name):
            bench.progress.check()
            broken += result.reasons if isinstance(result, Refused) else ()
    except Refused as over:
        broken += [reason for reason in over.reasons if reason not in known]
    return broken


# -- the frames and what becomes of them ------------------------------------------------------------


def make(job: Job, claim: str, drop_name: str, revision: int, staging: Path, scratch: Path, bench: Bench) -> Made:
    """Build the revision in `staging`: stick folders, card.html and the records.

    Raise `Refused` where the made animation may not leave the shop, `Stopped` where the work is to stop.
    """
    record = _unmade_record(job, claim, drop_name, revision, bench)
    shops = language_of_shop(bench.papers.letterhead).code
    with papers_ahead([shops, job.manifest.language or shops]):  # from now on this thread waits for workers
        outputs = _outputs(job, record, staging, scratch, bench)
    made_for = tuple(made.record for made in outputs)
    record = record.model_copy(update={"radios": made_for, "picture": held_picture.FILE_NAME})
    made = Made(
        record,
        ProofRecord(radios=tuple(made.proof for made in outputs)),
        PlayerRecord(radios=tuple(made.player for made in outputs if made.player)),
    )
    _write_papers(staging, made, f"{job.customer_folder}/{job.job_folder}-r{revision}", bench)
    return made


def _outputs(job: Job, record: JobRecord, staging: Path, scratch: Path, bench: Bench) -> tuple[RadioOutput, ...]:
    """Fill the stick folders in `staging`. Raise as `make`."""
    outputs: tuple[RadioOutput, ...] = ()
    try:
        radio_jobs: list[RadioJob] = []
        for each in crop_check.with_crop_notes(job.plans, job.manifest, job.art, bench.rules.intake, bench.crew):
            folder = staging / ("usb" if len(job.plans) == 1 else f"usb-{each.radio.name}")
            paper = bench.papers.sheet_mb, bench.papers.letterhead
            radio_jobs.append(
                RadioJob(each, job.manifest, bench.rules, folder, scratch, record, job.frame_count, *paper)
            )
        radio_jobs = with_looks_beside(radio_jobs, bench.kept.room if bench.kept else 0)
        for place, radio_job in enumerate(radio_jobs):
            try:
                outputs += (make_radio(radio_job, bench.crew, bench.progress),)
            except Refused as refused:
                before = only(_by_radio(job.plans, outputs), Kind.REFUSE)
                more = others_too_large(refused, radio_jobs[place + 1 :], bench.crew, bench.progress)
                raise Refused(dict.fromkeys([*before, *refused.reasons, *more])) from None
        bench.progress.stage("papers")
        stop_if_refused([*job.reasons, *_by_radio(job.plans, outputs)])
    except Refused as refused:
        shown = exhibited(refused.reasons, (made.proof for made in outputs))
        customer, root = job.manifest.customer, job.found.root
        raise Refused(refused.reasons, customer=customer, root=root, pictures=shown) from None
    return outputs


def rejection(refused: Refused, claim: str, drop_name: str, bench: Bench, mends: str | None = None) -> Rejection:
    """Return the record of a refused drop, with small pictures of what its reasons are about.

    `mends` is the claim of the earlier refused drop that this one is a copy of.
    """
    return Rejection(
        keyturn=__version__,
        drop=drop_name,
        claim=claim,
        customer=refused.customer,
        rejected_at=bench.now().isoformat(timespec="seconds"),
        reasons=first_of(refused.reasons, REASONS_SHOWN),
        pictures=refused_pictures(refused, bench.rules.intake, bench.crew),
        mends=mends,
    )


def _unmade_record(job: Job, claim: str, drop_name: str, revision: int, bench: Bench) -> JobRecord:
    """Return the job's record as far as it is known before its frames are made."""
    return JobRecord(
        keyturn=__version__,
        customer=job.manifest.customer,
        job=job.name,
        artist=job.manifest.artist,
        drop=drop_name,
        claim=claim,
        digest=digest(job.found, bench.digests),
        made_at=bench.now().isoformat(timespec="seconds"),
        revision=revision,
        radios=(),
        reasons=job.reasons,
        mends=job.mends,
        row=job.row,
        restores=bench.restores(job.manifest.customer, [planned.radio.name for planned in job.plans]),
        language=job.manifest.language,
        vehicles=job.manifest.every_vehicle,
    )


def _write_papers(staging: Path, made: Made, target: str, bench: Bench) -> None:
    """Write pages and records of a revision whose path in the outbox is to be `target`."""
    from keyturn.pages.answer import Told
    from keyturn.pages.sheet import Beside, sheet

    rules, customer = bench.rules, made.record.customer
    record_text = made.record.model_dump_json(indent=2)
    told = Told(target, hashlib.sha256(record_text.encode("utf-8")).hexdigest())
    beside = Beside(player=lambda record, most: made.player, told=lambda record: told)
    shown = [(made.record, made.proof)]
    texts = {
        "card.html": cards(made.record, rules.radios, rules.safety.cautions.card, made.proof, bench.papers.letterhead),
        OWN_PAGE: sheet(customer, shown, rules.safety.cautions.sheet, beside=beside, papers=bench.papers),
        "job.json": record_text,
        "proof.json": made.proof.model_dump_json(),
        "player.json": made.player.model_dump_json(),
    }
    for name, text in texts.items():
        (staging / name).write_text(text, encoding="utf-8")
    (staging / held_picture.FILE_NAME).write_bytes(held_picture.held_picture(made.proof))
