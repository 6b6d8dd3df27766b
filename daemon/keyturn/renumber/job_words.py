"""The job's words, set for each panel by the crew: in the fonts of the drop, of the shop, and Keyturn's own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from keyturn.flatten.figures import Figure, letters_missing
from keyturn.flatten.fonts import BUILT_IN, FontFile, opened
from keyturn.flatten.letter_order import needs_raqm
from keyturn.flatten.lettering import ShadowLook, TextLook
from keyturn.flatten.set_words import WordsJob, WordsSet, check_words, set_words
from keyturn.inbox.survey import Survey
from keyturn.manifest.drawn_frames import Sprite
from keyturn.manifest.lettering import LogoText
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.manifest.values import rgb
from keyturn.renumber.patterns import matching, what_looks_like
from keyturn.shop.folding import folded
from keyturn.shop.radio_profile import Panel
from keyturn.shop.reasons import Kind, Reason, Refused, only, refuse
from keyturn.shop.rulebook import Intake
from keyturn.shop.shop_fonts import ShopFonts, own_typeface
from keyturn.workers.crew import Crew

Size = tuple[int, int]
Entry = Sprite | LogoText
Key = tuple[object, ...]
"""What the manifest says of a text, and the panel's size: all that decides how it is set."""

FONTS_NAMED = 6
"""So many of the shop's fonts are named to whoever asked for one that is not there."""


@dataclass(frozen=True, slots=True)
class JobWords:
    """The job's words as they are set, by what the manifest says of them and the panel's size.

    Words that are not found here are set in the typeface that comes with Pillow, as in jobs that name no font.
    `fonts` are the files of the drop that words are set in.
    """

    found: Mapping[Key, WordsSet] = field(default_factory=dict)
    logo: tuple[LogoText, ...] = ()
    fonts: frozenset[str] = frozenset()
    reasons: tuple[Reason, ...] = ()

    def figure(self, entry: Entry, panel: Size) -> tuple[Figure, float]:
        """Return the figure of an entry's text, and by what its sizes, those of a line, are to be multiplied."""
        text, colour = entry.text or "", rgb(entry.colour)
        made = self.found.get(_key(entry, panel))
        if made is None:
            return Figure(FILE_NAME, text=text, colour=colour), 1.0
        figure = Figure(FILE_NAME, text=text, colour=colour, words=(made.words, _look(entry)))
        return figure, made.scale * made.words.height / made.words.line

    def set_for(self, figure: Figure) -> WordsSet | None:
        """Return how the figure's words were set; None where they are not found here."""
        alike = (made for made in self.found.values() if figure.words and made.words == figure.words[0])
        return next(alike, None)


NO_WORDS = JobWords()


def _key(entry: Entry, panel: Size) -> Key:
    lines = _line_share(entry)
    return entry.text, entry.font, entry.weight, entry.align, entry.wrap, entry.fit, lines, panel


def _line_share(entry: Entry) -> float:
    """Return the greatest height of a line as a share of the panel's."""
    return max(entry.size) if isinstance(entry.size, tuple) else entry.size


def _look(entry: Entry) -> TextLook:
    outline = (rgb(entry.outline.colour), entry.outline.width) if entry.outline else None
    shadow = None
    if under := entry.shadow:
        shadow = ShadowLook(rgb(under.colour), under.offset, under.blur, under.opacity)
    return TextLook(rgb(entry.colour), outline, shadow)


# -- setting them -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WordsBench:
    """What words are set with: the drop's files and the shop's fonts, and a crew that reads them."""

    found: Survey
    fonts: ShopFonts
    intake: Intake
    crew: Crew


def words_of(manifest: Manifest, panels: Sequence[Panel], bench: WordsBench) -> JobWords:
    """Return the job's words as they are set for each panel. What refuses them is among the reasons."""
    asked = _asked(manifest, panels, bench)
    results = dict(zip(asked.jobs, bench.crew.run(set_words, asked.jobs.values(), _file_of), strict=True))
    made = {key: r.with_files_of(asked.jobs[key]) for key, r in results.items() if not isinstance(r, Refused)}
    return JobWords(made, manifest.logo.text, frozenset(asked.fonts), asked.reasons_with(results))


def words_faults(manifest: Manifest, panels: Sequence[Panel], bench: WordsBench) -> tuple[Reason, ...]:
    """Return what refuses the job's words, which are not set: that takes a tenth of the time."""
    asked = _asked(manifest, panels[:1], bench)
    jobs = {key: job for key, job in asked.jobs.items() if not _is_plain(job)}
    results = dict(zip(jobs, bench.crew.run(check_words, jobs.values(), _file_of), strict=True))
    refused = {key: result for key, result in results.items() if isinstance(result, Refused)}
    return only(asked.reasons_with(refused), Kind.REFUSE)


def _is_plain(job: WordsJob) -> bool:
    """Whether Keyturn's own typeface, which the service can trust, has every letter: then no worker need be asked."""
    own = FontFile(own_typeface())
    if job.fonts[0] != own or job.weight is not None or needs_raqm(job.text):
        return False
    face = opened(own, own.version, job.intake)
    return all(letter == "\n" or letter == " " or face.has(letter) for letter in job.text)


@dataclass(slots=True)
class _AskedWords:
    """The texts to be set, and where each stands in the manifest; fonts of the drop, and what is wrong with them."""

    jobs: dict[Key, WordsJob] = field(default_factory=dict)
    places: list[tuple[Key, str]] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    fonts: set[str] = field(default_factory=set)

    def reasons_with(self, results: Mapping[Key, WordsSet | Refused]) -> tuple[Reason, ...]:
        """Return all reasons, those of `results` with the places of their texts."""
        every = [*self.reasons]
        for key, place in self.places:
            every += (_placed(reason, place) for reason in (results[key].reasons if key in results else ()))
        return tuple(dict.fromkeys(every))


def _asked(manifest: Manifest, panels: Sequence[Panel], bench: WordsBench) -> _AskedWords:
    asked = _AskedWords()
    for entry, place in _entries(manifest):
        named, reasons = _named_font(entry.font, place, bench)
        asked.reasons += reasons
        asked.fonts |= {named.name} & {*bench.found.files} if named else set()
        if (entry.font and not named) or _as_of_old(entry):
            continue
        for panel in panels:
            key = _key(entry, panel.size)
            asked.jobs[key] = asked.jobs.get(key) or _job(entry, named, panel, bench)
            asked.places.append((key, f"{place}.text"))
    return asked


def _entries(manifest: Manifest) -> Iterator[tuple[Entry, str]]:
    """Yield the entries of the manifest that have words, and where each stands."""
    for number, text in enumerate(manifest.logo.text, 1):
        yield text, f"logo.text.{number}"
    for number, part in enumerate(manifest.part, 1):
        for place, sprite in enumerate(part.glide.sprites if part.glide else (), 1):
            if sprite.text is not None:
                own = part.glide and part.glide.sprite
                yield sprite, f"part.{number}.glide" + (f".sprite.{place}" if own else "")


def _as_of_old(entry: Entry) -> bool:
    """Whether the words are one line in the typeface that comes with Pillow: such jobs keep the bytes they had."""
    text = entry.text or ""
    return isinstance(entry, Sprite) and entry.of_old and "\n" not in text and not letters_missing(text)


def _job(entry: Entry, named: FontFile | None, panel: Panel, bench: WordsBench) -> WordsJob:
    text, others = entry.text or "", [_of_shop(path) for path in bench.fonts.files()]
    if named:
        fonts = (named, *(file for file in others if file.path != named.path), FontFile(own_typeface()))
    elif entry.weight is None and not letters_missing(text.replace("\n", "")) and not needs_raqm(text):
        fonts = (BUILT_IN,)
    else:
        fonts = (FontFile(own_typeface()), *others)
    return WordsJob(
        text=text,
        fonts=fonts,
        named=named is not None,
        weight=entry.weight,
        align=entry.align,
        wrap=entry.wrap,
        fit=entry.fit,
        line_px=_line_share(entry) * panel.height,
        panel=panel.size,
        least_px=bench.intake.words.least_arcmin / 60 * panel.degree_px,
        intake=bench.intake,
    )


def _of_shop(path: Path) -> FontFile:
    return FontFile(path, f"the shop's fonts/{path.name}")


def _file_of(job: WordsJob) -> str:
    return job.fonts[0].name or FILE_NAME


def _placed(reason: Reason, place: str) -> Reason:
    return reason if reason.file else reason.model_copy(update={"file": FILE_NAME, "field": place})


# -- fonts by their names -----------------------------------------------------------------------------


def _named_font(wanted: str | None, place: str, bench: WordsBench) -> tuple[FontFile | None, list[Reason]]:
    """Return the font called `wanted`: of the drop, else of the shop; None and a refusal where there is none."""
    if wanted is None:
        return None, []
    names, reasons = ((wanted,), list[Reason]()) if wanted in bench.found.files else matching(wanted, bench.found.files)
    if len(names) == 1:
        return FontFile(bench.found.root / names[0], names[0]), reasons
    shops = bench.fonts.files()
    alike = [path for path in shops if path.name == wanted] or [p for p in shops if folded(p.name) == folded(wanted)]
    if len(alike) == 1 and not names:
        return _of_shop(alike[0]), []
    what = f'"{wanted}" is no font of the drop or of the shop{what_looks_like(wanted, bench.found.files)}'
    if names:
        what = f'"{wanted}" names {len(names)} files of the drop'
    there = ", ".join(path.name for path in shops[:FONTS_NAMED])
    mend = f"put the font into the drop, or name one of the shop's: {there}" if there else "put the font into the drop"
    return None, [refuse("font-missing", what, mend, file=FILE_NAME, field=f"{place}.font")]
