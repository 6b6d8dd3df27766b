"""The fitter's card of a revision, and INSTALL.txt, which says the same as plain text on the stick."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, product

from keyturn.pages.in_words import OnScreen, on_screen
from keyturn.pages.job_anchor import job_anchor
from keyturn.pages.languages import ENGLISH, Language, language_of_shop
from keyturn.pages.render import page
from keyturn.pages.text_file import chapter, text_file, wrapped
from keyturn.shop.papers import Letterhead
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import FileRecord, JobRecord, ProofRecord, RadioProof, RadioRecord

DIGEST = 12
"""How many hex digits of a SHA-256 are shown, for people to compare by eye."""


@dataclass(frozen=True, slots=True)
class CardView:
    """What the card shows of one radio, in one vehicle where the job names them. `stills` are (caption, data URI)."""

    vehicle: str
    record: RadioRecord
    profile: Radio
    load: tuple[str, ...]
    confirm: tuple[str, ...]
    restore: tuple[str, ...]
    on_screen: tuple[OnScreen, ...]
    stills: tuple[tuple[str, str], ...]


def card(job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str]) -> str:
    """Return card.html for one radio of the job, without pictures."""
    return cards(job.model_copy(update={"radios": (radio,)}), {radio.radio: profile}, cautions)


def cards(
    job: JobRecord,
    profiles: Mapping[str, Radio],
    cautions: Sequence[str],
    proof: ProofRecord | None = None,
    letterhead: Letterhead | None = None,
) -> str:
    """Return card.html with a section, which prints as a page, for each radio of the job in each of its vehicles.

    Raise KeyError where a profile is missing.
    """
    language = language_of_shop(letterhead)
    proofs = {shown.radio: shown for shown in proof.radios} if proof else {}
    views = [
        CardView(
            vehicle,
            r,
            profiles[r.radio],
            load_steps(profiles[r.radio], f"{r.folder}/", language),
            translated(profiles[r.radio].steps.confirm, language),
            _restore_steps(job, profiles[r.radio], language),
            on_screen(r, language),
            _stills(proofs.get(r.radio), language),
        )
        for vehicle, r in product(job.vehicles or ("",), job.radios)
    ]
    sheet = f"../proof.html#{job_anchor(job.job)}"
    return page(
        "card.html.j2",
        styles=("card.css",),
        shop=letterhead or Letterhead(),
        job=job,
        radios=views,
        cautions=translated(cautions, language),
        language=language,
        digits=DIGEST,
        sheet=sheet,
    )


def _restore_steps(job: JobRecord, profile: Radio, language: Language) -> tuple[str, ...]:
    """Return how the radio goes back to stock. Where its stock files are kept, where to take them from comes first."""
    steps = translated(profile.steps.restore, language)
    if (folder := job.restores.get(profile.name)) is None:
        return steps
    where = language.isolated(folder)
    return (
        language.gettext(
            "The shop keeps this radio's stock files, ready for a stick: keyturn copy %(folder)s", folder=where
        ),
        *steps,
    )


def translated(texts: Sequence[str], language: Language) -> tuple[str, ...]:
    """Return the rules' texts in the language, as far as they are known in it."""
    return tuple(map(language.translated, texts))


def load_steps(profile: Radio, folder: str, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return the profile's steps to load, with `folder` where they say {folder}."""
    steps = translated(profile.steps.load, language)
    return tuple(step.replace("{folder}", language.isolated(folder)) for step in steps)


def _stills(proof: RadioProof | None, language: Language) -> tuple[tuple[str, str], ...]:
    """Return the boot logo and one frame to know the job by: the last, or the middle one where the last is the logo."""
    if proof is None:
        return ()
    shown = [proof.frames[number] for number in chain.from_iterable(proof.order)]
    _ = language.gettext
    logo = (_("Boot logo"), proof.logo)
    if not shown:
        return (logo,)
    last, middle = shown[-1], shown[len(shown) // 2]
    return logo, (_("Last picture"), last) if last != proof.logo else (_("Half-way"), middle)


# -- INSTALL.txt ------------------------------------------------------------------------------------


def install_text(
    job: JobRecord,
    radio_record: RadioRecord,
    profile: Radio,
    cautions: Sequence[str],
    letterhead: Letterhead | None = None,
) -> str:
    """Return INSTALL.txt for one radio, as `text_file` lays it out.

    The files' digests are in it where the record has them. The one on the stick has none: its own digest would be among
    them, which no file can hold.
    """
    language = language_of_shop(letterhead)
    lines = [*wrapped(letterhead.line if letterhead else "", "", language)]
    lines += _install_lines(job, radio_record, profile, cautions, language)
    return text_file(lines, language)


def _install_lines(
    job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str], language: Language
) -> Iterator[str]:
    _, name = language.gettext, language.isolated
    titles = {"job": name(job.job), "number": job.revision, "customer": name(job.customer)}
    steps = profile.steps
    listed = (
        (_("Before you begin"), translated(cautions, language), "!"),
        (_("Files on this stick"), _files(radio, profile, language), "-"),
        (_("Load"), load_steps(profile, f"{radio.folder}/", language), None),
        (_("Confirm"), translated(steps.confirm, language), None),
        (_("What you will see"), _seen(radio, language), None),
        (_("Back to stock"), _restore_steps(job, profile, language), None),
    )
    yield from wrapped(_("%(job)s, revision %(number)s, for %(customer)s", **titles), "", language)
    about = {"title": name(language.translated(radio.title)), "radio": name(radio.radio)}
    yield from wrapped(_("Radio: %(title)s (%(radio)s)", **about), "", language)
    for title, texts, mark in listed:
        yield from chapter(title, texts, mark, language)


def _files(radio: RadioRecord, profile: Radio, language: Language) -> list[str]:
    if radio.files:
        return [file_line(file, language) for file in radio.files]
    animation = language.listed(language.isolated(profile.stick.animation), language.size(radio.zip_bytes))
    return [animation, language.isolated(profile.stick.logo)]


def file_line(file: FileRecord, language: Language) -> str:
    """Return a file's name, size and the first digits of its digest, in words."""
    return language.gettext(
        "%(file)s, %(size)s, SHA-256 begins %(digits)s",
        file=language.isolated(file.path),
        size=language.size(file.size),
        digits=language.isolated(file.sha256[:DIGEST]),
    )


def _seen(radio: RadioRecord, language: Language) -> list[str]:
    _ = language.gettext
    seen = []
    for shown in on_screen(radio, language):
        values = {"title": shown.title, "words": shown.words, "art": language.isolated(shown.art)}
        seen.append(
            _("%(title)s from %(art)s: %(words)s", **values) if shown.art else _("%(title)s: %(words)s", **values)
        )
    if radio.timeline.delay_s > 0:
        late = language.seconds(radio.timeline.delay_s)
        return [*seen, _("The home screen, up to %(late)s later than before.", late=late)]
    return [*seen, _("The home screen.")]
