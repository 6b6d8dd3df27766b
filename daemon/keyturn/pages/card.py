"""The fitter's card of a revision, and INSTALL.txt, the same as plain text for the stick."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from keyturn.pages.in_words import Act, acts
from keyturn.pages.render import page, seconds
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import JobRecord, RadioRecord
from keyturn.shop.units import readable_size

WIDTH = 72
DIGEST = 12
"""Hex digits of a SHA-256 that a person compares by eye."""


@dataclass(frozen=True, slots=True)
class CardView:
    record: RadioRecord
    profile: Radio
    acts: tuple[Act, ...]


def card(job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str]) -> str:
    """card.html for one radio of the job."""
    return _page(job, [CardView(radio, profile, acts(radio))], cautions)


def cards(job: JobRecord, profiles: Mapping[str, Radio], cautions: Sequence[str]) -> str:
    """card.html with a section for each of the job's radios. Raises KeyError where a profile is missing."""
    return _page(job, [CardView(r, profiles[r.radio], acts(r)) for r in job.radios], cautions)


def _page(job: JobRecord, views: Sequence[CardView], cautions: Sequence[str]) -> str:
    return page("card.html.j2", styles=("card.css",), job=job, radios=views, cautions=cautions, digits=DIGEST)


# -- INSTALL.txt ------------------------------------------------------------------------------------


def install_text(job: JobRecord, radio_record: RadioRecord, profile: Radio, cautions: Sequence[str]) -> str:
    """ASCII with CRLF ends of line, readable on any machine. File digests stand in it where they are known:
    a file on the stick cannot hold its own."""
    lines = list(_install_lines(job, radio_record, profile, cautions))
    return "".join(f"{line}\r\n" for line in lines)


def _install_lines(
    job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str]
) -> Iterator[str]:
    yield from _wrapped(f"{job.job}, revision {job.revision}, for {job.customer}", "")
    yield from _wrapped(f"Radio: {radio.title} ({radio.radio})", "")
    yield from _listed("Before you begin", cautions, mark="!")
    yield from _listed("Files on this stick", _files(radio, profile))
    yield from _listed("Load", profile.steps.load, mark=None)
    yield from _listed("Confirm", profile.steps.confirm, mark=None)
    yield from _listed("What you will see", _seen(radio), mark=None)
    yield from _listed("Back to stock", profile.steps.restore, mark=None)


def _listed(title: str, texts: Sequence[str], mark: str | None = "-") -> Iterator[str]:
    """Marked lines, or numbered ones where `mark` is None."""
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
    seen = [f"{act.title}{f' from {act.art}' if act.art else ''}: {act.words}" for act in acts(radio)]
    if radio.timeline.delay_s > 0:
        seen.append(f"The home screen, up to {seconds(radio.timeline.delay_s)} later than before.")
        return seen
    return [*seen, "The home screen."]


def _ascii(text: str) -> str:
    """Letters without their accents, one line; what ASCII has no letter for becomes a question mark."""
    plain = unicodedata.normalize("NFKD", text.replace("\u00d7", "x"))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return "".join(c if " " <= c <= "~" else "?" for c in plain)
