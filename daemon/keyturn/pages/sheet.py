"""The customer's proof sheet: one file to mail, to look at and to answer. The workshop's figures are folded in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import chain, pairwise
from typing import Any

from markupsafe import Markup

from keyturn.pages import charts, customer_words
from keyturn.pages.answer import Answered, Asked, Told, answered, asked
from keyturn.pages.cache_key import SameObjects
from keyturn.pages.film_strip import FilmStrip, film_strips
from keyturn.pages.in_words import OnScreen, at_cut, on_screen
from keyturn.pages.job_anchor import job_anchor
from keyturn.pages.languages import Language, language_of, language_of_customer
from keyturn.pages.large_pictures import LargePictures, large_pictures
from keyturn.pages.player_words import player_words
from keyturn.pages.render import fragment, page
from keyturn.pages.revision_differences import Redrawn, Revision, changed, redrawn_pictures
from keyturn.pages.schedule import boot_buttons, longest_boot_s, pictures, schedule
from keyturn.pages.sheet_order import jobs_in_order
from keyturn.pages.sizes import size_facts
from keyturn.shop.papers import Papers
from keyturn.shop.reasons import Kind, Reason, only
from keyturn.shop.records import JobRecord, PlayerRecord, ProofRecord, RadioProof, RadioRecord

NO_PLAYER = PlayerRecord.model_construct(radios=())  # no model is built for it (pydantic, defer_build)

OLDER_BUDGET = 60_000
"""Most characters of pictures that an older revision may have on the sheet."""

KEPT_ARTICLES = 24
"""Articles that are kept, a few MB. With each correction that a customer sends, all jobs but one stay as they were."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What lies beside the records of the revisions.

    `player` returns a revision's large pictures, none where they take more characters than it is given. `own_page`
    returns the path from the sheet to the revision's own page, "" where it has none. `told` returns what is asked about
    the revision and was answered; without it the sheet asks for an answer on paper alone. A `look` is of a drop before
    it is dropped: it asks for nothing and unfolds the workshop's part; `exhibits` are the pictures of its findings.
    """

    player: Callable[[JobRecord, float], PlayerRecord] = field(default=lambda record, most: NO_PLAYER)
    own_page: Callable[[JobRecord], str] = field(default=lambda record: "")
    told: Callable[[JobRecord], Told | None] = field(default=lambda record: None)
    look: bool = False
    exhibits: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RadioView:
    """The section of one radio. `proof` is None where the sheet shows figures only; HTML ids begin with `key`.

    `sharp`: the large pictures are on the sheet. `logo` is a picture's number.
    """

    key: str
    record: RadioRecord
    proof: RadioProof | None
    sharp: bool
    logo: int
    own_page: str
    seen: tuple[str, ...]
    sure: tuple[str, ...]
    flashes: str
    pictures: tuple[str, ...]
    film_strips: tuple[FilmStrip, ...]
    on_screen: tuple[OnScreen, ...]
    at_cut: str
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
    """One revision: its radios, and what changed since the one before. `own_page` is a path, or "". `asked` is the
    question about it, `answered` the last answer."""

    record: JobRecord
    radios: tuple[RadioView, ...]
    changes: tuple[str, ...]
    redrawn: tuple[Redrawn, ...]
    art_changes: tuple[str, ...]
    own_page: str
    mended: tuple[Reason, ...]
    notes: tuple[Reason, ...]
    asked: Asked | None = None
    answered: Answered | None = None


@dataclass(frozen=True, slots=True)
class JobView:
    """A job's newest revision and its large pictures, and the HTML of that one and the older ones."""

    key: str
    newest: JobRecord
    article: Markup
    large: tuple[LargePictures, ...]


def sheet(
    customer: str,
    jobs: Sequence[Revision],
    cautions: Sequence[str],
    earlier: int = 0,
    *,
    beside: Beside | None = None,
    papers: Papers | None = None,
) -> str:
    """Return outbox/<customer>/proof.html.

    `jobs` are revisions of the customer in any order, at least one. `earlier` is how many more there are, which the
    sheet leaves out.
    """
    papers, beside = papers or Papers(), beside or Beside()
    language = language_of_customer(((job.made_at, job.language) for job, _ in jobs), papers.letterhead.language)
    views = tuple(_job_views(jobs, beside, 1e6 * papers.sheet_mb, language, papers.letterhead.mail))
    return page(
        "sheet.html.j2",
        styles=("sheet.css", "answer.css", *(("exhibits.css",) if beside.exhibits else ())),
        script=("player.js", "answer.js"),
        customer=customer,
        jobs=views,
        cautions=[language.translated(text) for text in cautions],
        player_words=player_words(language),
        language=language,
        earlier=earlier,
        written=max(view.newest.made_at for view in views),
        shop=papers.letterhead,
        look=beside.look,
        exhibits=beside.exhibits,
    )


def _job_views(
    jobs: Sequence[Revision], beside: Beside, left: float, language: Language, mail: str
) -> Iterator[JobView]:
    """Yield the jobs in the order of the sheet. The first one has pictures always, the others as long as the
    budget allows.

    `left` is the budget in characters, `mail` the shop's address.
    """
    for number, revisions in enumerate(jobs_in_order(jobs)):
        (newest, proof), weight = revisions[0], _weight(revisions[0][1])
        with_pictures = number == 0 or weight <= left
        left -= weight if with_pictures else 0
        key = job_anchor(newest.job)
        large = tuple(large_pictures(key, newest, proof, beside.player(newest, left))) if with_pictures else ()
        left -= sum(len(picture.data) for view in large for picture in view.player.pictures)
        logos = tuple((view.key, view.player.logo) for view in large)
        pages = tuple(beside.own_page(record) for record, _ in revisions)
        whole = SameObjects(revisions, chain.from_iterable(revisions))
        told = tuple(beside.told(record) for record, _ in revisions)
        article = _article(key, whole, with_pictures, logos, pages, language.code, told, mail, beside.look)
        yield JobView(key, newest, article, large)


def _weight(proof: ProofRecord) -> int:
    return sum(len(p) for radio in proof.radios for p in (*pictures(radio), radio.handoff_picture or ""))


@lru_cache(maxsize=KEPT_ARTICLES)
def _article(
    key: str,
    revisions_of: SameObjects[tuple[Revision, ...]],
    with_pictures: bool,
    logos: tuple[tuple[str, int], ...],
    pages: tuple[str, ...],
    language_code: str,
    told: tuple[Told | None, ...],
    mail: str,
    look: bool,
) -> Markup:
    """Return the HTML of a job. It is kept for a caller that gives the same record objects again.

    `logos` are the numbers of the logos of radios whose large pictures are on the sheet, by the key of their section.
    """
    revisions, language = revisions_of.whole, language_of(language_code)
    changes = [changed(before, after, language) for after, before in pairwise(revisions)]
    redrawn = redrawn_pictures(revisions[1], revisions[0], language) if with_pictures and revisions[1:] else ()
    newest = _revision_view(
        key, revisions[0], with_pictures, changes[0] if changes else (), dict(logos), pages[0], language
    )
    older = tuple(
        _revision_view(
            f"{key}v{revision[0].revision}",
            revision,
            with_pictures and (bool(pages[number]) or _weight(revision[1]) <= OLDER_BUDGET),
            changes[number] if number < len(changes) else (),
            {},
            pages[number],
            language,
        )
        for number, revision in enumerate(revisions[1:], start=1)
    )
    newest, *others = (
        _with_answer(view, asked_of, key, mail, language)
        for view, asked_of in zip((replace(newest, redrawn=redrawn), *older), told, strict=True)
    )
    return fragment("job.html.j2", language=language, key=key, newest=newest, older=others, look=look)


def _with_answer(view: RevisionView, told: Told | None, key: str, mail: str, language: Language) -> RevisionView:
    """Add what was answered, and the question; the sheet shows that of the newest revision alone."""
    if told is None:
        return view
    shown = {radio.record.radio: radio.key for radio in view.radios if radio.proof is not None}
    return replace(
        view,
        asked=asked(view.record, told, key, mail, language),
        answered=answered(told, shown, view.record.radios),
    )


def _revision_view(
    key: str,
    revision: Revision,
    with_pictures: bool,
    changes: tuple[str, ...],
    logos: Mapping[str, int],
    own_page: str,
    language: Language,
) -> RevisionView:
    record, proof = revision
    shown = {p.radio: p for p in proof.radios if with_pictures}
    radios = tuple(
        _radio_view(f"{key}r{i}", radio, shown.get(radio.radio), logos.get(f"{key}r{i}"), own_page, language)
        for i, radio in enumerate(record.radios)
    )
    told = customer_words.art_changes(record.every_reason, language)
    return RevisionView(record, radios, changes, (), told, own_page, *_sorted_out(record.reasons))


def _radio_view(
    key: str, radio: RadioRecord, proof: RadioProof | None, logo: int | None, own_page: str, language: Language
) -> RadioView:
    if proof is not None and [len(order) for order in proof.order] != [part.frames for part in radio.parts]:
        proof = None  # these are pictures of something else, and the sheet must show what is on the stick
    plan = schedule(radio, proof) if proof else None
    if plan and logo is not None:
        plan["logo"] = logo
    return RadioView(
        key=key,
        record=radio,
        proof=proof,
        sharp=logo is not None,
        logo=plan["logo"] if plan else 0,
        own_page=own_page,
        seen=customer_words.seen(radio, proof, language),
        sure=customer_words.sure(radio.timeline, language),
        flashes=customer_words.flashes(radio.flash, language),
        pictures=pictures(proof) if proof else (),
        film_strips=film_strips(radio, proof, language) if proof else (),
        on_screen=on_screen(radio, language),
        at_cut=at_cut(radio.timeline, language),
        schedule=plan,
        boots=boot_buttons(radio.timeline, language),
        longest_boot_s=longest_boot_s(radio.timeline),
        boot_chart=charts.boot_chart(radio, language),
        flash_chart=charts.flash_chart(radio.flash, radio.timeline.once_only_s, language),
        memory=charts.meter(radio.memory.peak_mib, radio.memory.allowed_mib),
        size=charts.meter(radio.zip_bytes, radio.zip_allowed_bytes),
        sizes=size_facts(radio, language),
        **dict(zip(("mended", "notes"), _sorted_out(radio.reasons), strict=True)),
    )


def _sorted_out(reasons: Sequence[Reason]) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Return (reasons that were mended, all others)."""
    mended = only(reasons, Kind.MENDED)
    return mended, tuple(reason for reason in reasons if reason.kind is not Kind.MENDED)
