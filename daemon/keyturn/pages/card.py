"""The fitter's card of a revision, and INSTALL.txt, which says the same as plain text on the stick."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

from keyturn.pages.in_words import OnScreen, on_screen
from keyturn.pages.render import page, seconds
from keyturn.pages.sheet import job_anchor
from keyturn.shop.papers import Letterhead
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import JobRecord, ProofRecord, RadioProof, RadioRecord
from keyturn.shop.units import readable_size

WIDTH = 72
DIGEST = 12
"""How many hex digits of a SHA-256 are shown, for people to compare by eye."""


@dataclass(frozen=True, slots=True)
class CardView:
    """What the card shows of one radio. `stills` are (caption, data URI)."""

    record: RadioRecord
    profile: Radio
    load: tuple[str, ...]
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
    """Return card.html with a section for each radio of the job. Raise KeyError where a profile is missing."""
    proofs = {shown.radio: shown for shown in proof.radios} if proof else {}
    views = [
        CardView(
            r,
            profiles[r.radio],
            load_steps(profiles[r.radio], f"{r.folder}/"),
            on_screen(r),
            _stills(proofs.get(r.radio)),
        )
        for r in job.radios
    ]
    sheet = f"../proof.html#{job_anchor(job.job)}"
    return page(
        "card.html.j2",
        styles=("card.css",),
        shop=letterhead or Letterhead(),
        job=job,
        radios=views,
        cautions=cautions,
        digits=DIGEST,
        sheet=sheet,
    )


def load_steps(profile: Radio, folder: str) -> tuple[str, ...]:
    """Return the profile's steps to load, with `folder` where they say {folder}."""
    return tuple(step.replace("{folder}", folder) for step in profile.steps.load)


def _stills(proof: RadioProof | None) -> tuple[tuple[str, str], ...]:
    """Return the boot logo and one frame to know the job by: the last, or the middle one where the last is the logo."""
    if proof is None:
        return ()
    shown = [proof.frames[number] for number in chain.from_iterable(proof.order)]
    logo = ("Boot logo", proof.logo)
    if not shown:
        return (logo,)
    last, middle = shown[-1], shown[len(shown) // 2]
    return logo, ("Last picture", last) if last != proof.logo else ("Half-way", middle)


# -- INSTALL.txt ------------------------------------------------------------------------------------


def install_text(
    job: JobRecord,
    radio_record: RadioRecord,
    profile: Radio,
    cautions: Sequence[str],
    letterhead: Letterhead | None = None,
) -> str:
    """Return INSTALL.txt for one radio: ASCII with CRLF line ends, which any machine can read.

    The files' digests are in it where the record has them. It is written before they are known where it lies on the
    stick itself, because no file can hold its own digest.
    """
    lines = [*_wrapped(letterhead.line if letterhead else "", "")]
    lines += _install_lines(job, radio_record, profile, cautions)
    return "".join(f"{line}\r\n" for line in lines)


def _install_lines(job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str]) -> Iterator[str]:
    yield from _wrapped(f"{job.job}, revision {job.revision}, for {job.customer}", "")
    yield from _wrapped(f"Radio: {radio.title} ({radio.radio})", "")
    yield from _listed("Before you begin", cautions, mark="!")
    yield from _listed("Files on this stick", _files(radio, profile))
    yield from _listed("Load", load_steps(profile, f"{radio.folder}/"), mark=None)
    yield from _listed("Confirm", profile.steps.confirm, mark=None)
    yield from _listed("What you will see", _seen(radio), mark=None)
    yield from _listed("Back to stock", profile.steps.restore, mark=None)


def _listed(title: str, texts: Sequence[str], mark: str | None = "-") -> Iterator[str]:
    """Yield a title and its texts, each with `mark` before it, or numbered where `mark` is None."""
    yield from ("", _ascii(title).upper(), "-" * len(title))
    for number, text in enumerate(texts, start=1):
        yield from _wrapped(text, f"{mark or f'{number}.'} ")


def _wrapped(text: str, mark: str) -> list[str]:
    return textwrap.wrap(_ascii(text), WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _files(radio: RadioRecord, profile: Radio) -> list[str]:
    if radio.files:
        return [f"{f.path}, {readable_size(f.size)}, SHA-256 begins {f.sha256[:DIGEST]}" for f in radio.files]
    return [f"{profile.stick.animation}, {readable_size(radio.zip_bytes)}", profile.stick.logo]


def _seen(radio: RadioRecord) -> list[str]:
    seen = [f"{shown.title}{f' from {shown.art}' if shown.art else ''}: {shown.words}" for shown in on_screen(radio)]
    if radio.timeline.delay_s > 0:
        seen.append(f"The home screen, up to {seconds(radio.timeline.delay_s)} later than before.")
        return seen
    return [*seen, "The home screen."]


def _ascii(text: str) -> str:
    """Return `text` in ASCII: letters without accents, "?" for every other character, line ends among them."""
    plain = unicodedata.normalize("NFKD", text.replace("\u00d7", "x"))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return "".join(c if " " <= c <= "~" else "?" for c in plain)
