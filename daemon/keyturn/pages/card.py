"""The fitter's card of a revision, and INSTALL.txt, which says the same as plain text on the stick."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from keyturn.pages.in_words import OnScreen, on_screen
from keyturn.pages.render import page, seconds
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import JobRecord, RadioRecord
from keyturn.shop.units import readable_size

WIDTH = 72
DIGEST = 12
"""How many hex digits of a SHA-256 are shown, for people to compare by eye."""


@dataclass(frozen=True, slots=True)
class CardView:
    """What the card shows of one radio."""

    record: RadioRecord
    profile: Radio
    on_screen: tuple[OnScreen, ...]


def card(job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str]) -> str:
    """Return card.html for one radio of the job."""
    return _page(job, [CardView(radio, profile, on_screen(radio))], cautions)


def cards(job: JobRecord, profiles: Mapping[str, Radio], cautions: Sequence[str]) -> str:
    """Return card.html with a section for each radio of the job. Raise KeyError where a profile is missing."""
    return _page(job, [CardView(r, profiles[r.radio], on_screen(r)) for r in job.radios], cautions)


def _page(job: JobRecord, views: Sequence[CardView], cautions: Sequence[str]) -> str:
    return page("card.html.j2", styles=("card.css",), job=job, radios=views, cautions=cautions, digits=DIGEST)


# -- INSTALL.txt ------------------------------------------------------------------------------------


def install_text(job: JobRecord, radio_record: RadioRecord, profile: Radio, cautions: Sequence[str]) -> str:
    """Return INSTALL.txt for one radio: ASCII with CRLF line ends, which any machine can read.

    The files' digests are in it where the record has them. It is written before they are known where it lies on the
    stick itself, because no file can hold its own digest.
    """
    lines = list(_install_lines(job, radio_record, profile, cautions))
    return "".join(f"{line}\r\n" for line in lines)


def _install_lines(job: JobRecord, radio: RadioRecord, profile: Radio, cautions: Sequence[str]) -> Iterator[str]:
    yield from _wrapped(f"{job.job}, revision {job.revision}, for {job.customer}", "")
    yield from _wrapped(f"Radio: {radio.title} ({radio.radio})", "")
    yield from _listed("Before you begin", cautions, mark="!")
    yield from _listed("Files on this stick", _files(radio, profile))
    yield from _listed("Load", profile.steps.load, mark=None)
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
