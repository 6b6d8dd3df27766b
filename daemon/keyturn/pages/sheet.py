"""The customer's proof sheet: one file to mail, look through, print and sign."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, groupby, pairwise
from typing import Any

from markupsafe import Markup

from keyturn.pages import charts
from keyturn.pages.cache_key import SameObjects
from keyturn.pages.film_strip import FilmStrip, film_strips
from keyturn.pages.in_words import OnScreen, on_screen
from keyturn.pages.render import fragment, page
from keyturn.pages.revision_differences import changed
from keyturn.pages.schedule import boot_buttons, longest_boot_s, pictures, schedule
from keyturn.pages.sizes import size_facts
from keyturn.shop.reasons import Kind, Reason, only
from keyturn.shop.records import JobRecord, ProofRecord, RadioProof, RadioRecord

Revision = tuple[JobRecord, ProofRecord]

PICTURE_BUDGET = 2_400_000
"""Most characters of pictures on one sheet. Many mail boxes refuse more than a few megabytes."""

OLDER_BUDGET = 60_000
"""Most characters of pictures that an older revision may have on the sheet."""

KEPT_ARTICLES = 24
"""Articles that are kept, a few MB. With each correction that a customer sends, all jobs but one stay as they were."""


@dataclass(frozen=True, slots=True)
class RadioView:
    """The section of one radio. `proof` is None where the sheet shows figures only; HTML ids begin with `key`."""

    key: str
    record: RadioRecord
    proof: RadioProof | None
    pictures: tuple[str, ...]
    film_strips: tuple[FilmStrip, ...]
    on_screen: tuple[OnScreen, ...]
    schedule: dict[str, Any] | None
    boots: tuple[tuple[str, float], ...]
    longest_boot_s: float
    boot_chart: charts.BootChart
    flash_chart: charts.FlashChart | None
    memory: charts.Meter
    size: charts.Meter
    sizes: tuple[str, ...]
    mended: tuple[Reason, ...]
    notes: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class RevisionView:
    """One revision: its radios, and what changed since the one before."""

    record: JobRecord
    radios: tuple[RadioView, ...]
    changes: tuple[str, ...]
    mended: tuple[Reason, ...]
    notes: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class JobView:
    """A job's newest revision, and the HTML of that one and the older ones."""

    key: str
    newest: JobRecord
    article: Markup


def job_anchor(job: str) -> str:
    """Return the HTML id of a job on its customer's sheet."""
    return "j" + hashlib.sha256(job.encode("utf-8", "surrogatepass")).hexdigest()[:10]


def sheet(
    customer: str, jobs: Sequence[tuple[JobRecord, ProofRecord]], cautions: Sequence[str], earlier: int = 0
) -> str:
    """Return outbox/<customer>/proof.html.

    `jobs` are revisions of the customer in any order, at least one. `earlier` is how many more there are, which the
    sheet leaves out.
    """
    views = tuple(_job_views(jobs))
    return page(
        "sheet.html.j2",
        styles=("sheet.css",),
        script="player.js",
        customer=customer,
        jobs=views,
        cautions=cautions,
        earlier=earlier,
        written=max(view.newest.made_at for view in views),
    )


def _job_views(jobs: Sequence[Revision]) -> Iterator[JobView]:
    """Yield the jobs, the newest first. The first one has pictures always, the others as long as the budget allows."""
    by_name = sorted(jobs, key=lambda revision: (revision[0].job, -revision[0].revision))
    groups = [tuple(group) for _, group in groupby(by_name, key=lambda revision: revision[0].job)]
    left = PICTURE_BUDGET
    for number, revisions in enumerate(sorted(groups, key=lambda group: group[0][0].made_at, reverse=True)):
        weight = _weight(revisions[0][1])
        with_pictures = number == 0 or weight <= left
        left -= weight if with_pictures else 0
        newest = revisions[0][0]
        key = job_anchor(newest.job)
        yield JobView(key, newest, _article(key, SameObjects(revisions, chain.from_iterable(revisions)), with_pictures))


def _weight(proof: ProofRecord) -> int:
    return sum(len(p) for radio in proof.radios for p in (*pictures(radio), radio.handoff_picture or ""))


@lru_cache(maxsize=KEPT_ARTICLES)
def _article(key: str, revisions_of: SameObjects[tuple[Revision, ...]], with_pictures: bool) -> Markup:
    """Return the HTML of a job. It is kept for a caller that gives the same record objects again."""
    revisions = revisions_of.whole
    changes = [changed(before, after) for after, before in pairwise(revisions)]
    newest = _revision_view(key, revisions[0], with_pictures, changes[0] if changes else ())
    older = tuple(
        _revision_view(
            f"{key}v{revision[0].revision}",
            revision,
            with_pictures and _weight(revision[1]) <= OLDER_BUDGET,
            changes[number] if number < len(changes) else (),
        )
        for number, revision in enumerate(revisions[1:], start=1)
    )
    return fragment("job.html.j2", key=key, newest=newest, older=older)


def _revision_view(key: str, revision: Revision, with_pictures: bool, changes: tuple[str, ...]) -> RevisionView:
    record, proof = revision
    shown = {p.radio: p for p in proof.radios if with_pictures}
    radios = tuple(_radio_view(f"{key}r{i}", radio, shown.get(radio.radio)) for i, radio in enumerate(record.radios))
    return RevisionView(record, radios, changes, *_sorted_out(record.reasons))


def _radio_view(key: str, radio: RadioRecord, proof: RadioProof | None) -> RadioView:
    if proof is not None and [len(order) for order in proof.order] != [part.frames for part in radio.parts]:
        proof = None  # these are pictures of something else, and the sheet must show what is on the stick
    return RadioView(
        key=key,
        record=radio,
        proof=proof,
        pictures=pictures(proof) if proof else (),
        film_strips=film_strips(radio, proof) if proof else (),
        on_screen=on_screen(radio),
        schedule=schedule(radio, proof) if proof else None,
        boots=boot_buttons(radio.timeline),
        longest_boot_s=longest_boot_s(radio.timeline),
        boot_chart=charts.boot_chart(radio),
        flash_chart=charts.flash_chart(radio.flash, radio.timeline.once_only_s),
        memory=charts.meter(radio.memory.peak_mib, radio.memory.allowed_mib),
        size=charts.meter(radio.zip_bytes, radio.zip_allowed_bytes),
        sizes=size_facts(radio),
        **dict(zip(("mended", "notes"), _sorted_out(radio.reasons), strict=True)),
    )


def _sorted_out(reasons: Sequence[Reason]) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Return (reasons that were mended, all others)."""
    mended = only(reasons, Kind.MENDED)
    return mended, tuple(reason for reason in reasons if reason.kind is not Kind.MENDED)
