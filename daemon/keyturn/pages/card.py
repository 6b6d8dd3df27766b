"""The fitter's card of a revision, and INSTALL.txt, which says the same as plain text on the stick."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, product

from keyturn.pages.in_words import OnScreen, on_screen
from keyturn.pages.languages import ENGLISH, Language, language_of_shop
from keyturn.pages.render import page
from keyturn.pages.sheet import job_anchor
from keyturn.shop.papers import Letterhead
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import JobRecord, ProofRecord, RadioProof, RadioRecord

WIDTH = 72
_UNSEEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
"""General categories of characters without a shape of their own: controls, directions, line ends, surrogates."""

_ISOLATES = "\u2066\u2068\u2069"

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
            _translated(profiles[r.radio].steps.confirm, language),
            _translated(profiles[r.radio].steps.restore, language),
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
        cautions=_translated(cautions, language),
        language=language,
        digits=DIGEST,
        sheet=sheet,
    )


def _translated(texts: Sequence[str], language: Language) -> tuple[str, ...]:
    return tuple(map(language.translated, texts))


def load_steps(profile: Radio, folder: str, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return the profile's steps to load, with `folder` where they say {folder}."""
    steps = _translated(profile.steps.load, language)
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
    """Return INSTALL.txt for one radio, with CRLF line ends.

    In English it is ASCII, which any machine can read. Other languages need more: their text begins with a byte order
    mark, by which old editors know UTF-8.

    The files' digests are in it where the record has them. It is written before they are known where it lies on the
    stick itself, because no file can hold its own digest.
    """
    language = language_of_shop(letterhead)
    lines = [*_wrapped(letterhead.line if letterhead else "", "", language)]
    lines += _install_lines(job, radio_record, profile, cautions, language)
    return ("" if language.code == "en" else "\ufeff") + "".join(f"{line}\r\n" for line in lines)


def _install_lines(
    job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str], language: Language
) -> Iterator[str]:
    _, name = language.gettext, language.isolated
    titles = {"job": name(job.job), "number": job.revision, "customer": name(job.customer)}
    steps = profile.steps
    listed = (
        (_("Before you begin"), _translated(cautions, language), "!"),
        (_("Files on this stick"), _files(radio, profile, language), "-"),
        (_("Load"), load_steps(profile, f"{radio.folder}/", language), None),
        (_("Confirm"), _translated(steps.confirm, language), None),
        (_("What you will see"), _seen(radio, language), None),
        (_("Back to stock"), _translated(steps.restore, language), None),
    )
    yield from _wrapped(_("%(job)s, revision %(number)s, for %(customer)s", **titles), "", language)
    about = {"title": name(language.translated(radio.title)), "radio": name(radio.radio)}
    yield from _wrapped(_("Radio: %(title)s (%(radio)s)", **about), "", language)
    for title, texts, mark in listed:
        yield from _listed(title, texts, mark, language)


def _listed(title: str, texts: Sequence[str], mark: str | None, language: Language) -> Iterator[str]:
    """Yield a title and its texts, each with `mark` before it, or numbered where `mark` is None."""
    yield from ("", _readable(title, language).upper(), "-" * len(title))
    for number, text in enumerate(texts, start=1):
        yield from _wrapped(text, f"{mark or f'{number}.'} ", language)


def _wrapped(text: str, mark: str, language: Language) -> list[str]:
    return textwrap.wrap(_readable(text, language), WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _files(radio: RadioRecord, profile: Radio, language: Language) -> list[str]:
    if radio.files:
        return [
            language.gettext(
                "%(file)s, %(size)s, SHA-256 begins %(digits)s",
                file=language.isolated(f.path),
                size=language.size(f.size),
                digits=language.isolated(f.sha256[:DIGEST]),
            )
            for f in radio.files
        ]
    animation = language.listed(language.isolated(profile.stick.animation), language.size(radio.zip_bytes))
    return [animation, language.isolated(profile.stick.logo)]


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


def _readable(text: str, language: Language) -> str:
    """Return `text` as one line. In English it is ASCII: letters without accents, "?" for every other character."""
    if language.code != "en":
        return "".join("?" if unicodedata.category(c) in _UNSEEN and c not in _ISOLATES else c for c in text)
    plain = unicodedata.normalize("NFKD", text.replace("\u00d7", "x"))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return "".join(c if " " <= c <= "~" else "?" for c in plain)
