"""One text set for one panel, in a worker: its fonts chosen, its lines broken, made smaller until it fits."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from keyturn.flatten import letter_order
from keyturn.flatten.fonts import FontFile, Typeface, letters_of, opened, shapes_any_script
from keyturn.flatten.lettering import inked
from keyturn.flatten.text_layout import Faces, SetText, laid_out
from keyturn.manifest.lettering import Align
from keyturn.shop.reasons import Reason, Refused, mended, note, refuse
from keyturn.shop.rulebook import Intake

STEP = 0.97
"""Broken lines are made smaller by this factor until they fit."""

LETTERS_SHOWN = 8
"""So many letters without a shape are named."""

Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class WordsJob:
    """A text to be set. `fonts` are tried in their order; the first is the one that the artist asked for, if `named`.

    `line_px` is the height of a line at its largest, `wrap` and `fit` are shares of the panel's width, or None.
    Capital letters of fewer than `least_px` pixels are hard to read.
    """

    text: str
    fonts: tuple[FontFile, ...]
    named: bool
    weight: int | None
    align: Align
    wrap: float | None
    fit: float | None
    line_px: float
    panel: Size
    least_px: float
    intake: Intake


@dataclass(frozen=True, slots=True, eq=False)
class WordsSet:
    """A text as it is set. Its sizes are to be multiplied by `scale`, so that it fits.

    `ink` is where its ink is (n, 2), in shares of its width and height. The reasons name no field. `chosen` are the
    places of the text's fonts in the job: a worker on another machine has the files in other folders.
    """

    words: SetText
    scale: float
    ink: NDArray[np.float64]
    reasons: tuple[Reason, ...]
    chosen: tuple[int, ...]

    def with_files_of(self, job: WordsJob) -> WordsSet:
        """Return the text with its fonts where they lie here."""
        return replace(self, words=replace(self.words, fonts=tuple(job.fonts[place] for place in self.chosen)))


@dataclass(frozen=True, slots=True)
class FontJob:
    """A font to be read."""

    file: FontFile
    intake: Intake


def check_font(job: FontJob) -> None:
    """Raise `Refused` where the font cannot be read, OSError where the shop's disk fails."""
    opened(job.file, job.file.version, job.intake)


def check_words(job: WordsJob) -> None:
    """Raise `Refused` where the text cannot be set, OSError where the shop's disk fails."""
    _chosen(job)


def set_words(job: WordsJob) -> WordsSet:
    """Return the text as it is set. Raise as `check_words` does."""
    faces, reasons = _chosen(job)
    with letters_of(job.fonts[0]):
        scale, words = _fitted(job, faces)
    words, ink = inked(words, job.intake)
    chosen = tuple(map(job.fonts.index, words.fonts))
    return WordsSet(words, scale, ink, (*reasons, *_too_long(job, words, scale)), chosen)


def _chosen(job: WordsJob) -> tuple[Faces, list[Reason]]:
    """Return the fonts that the text is set in, and what was mended."""
    if found := list(_unusable(job.text)):
        raise Refused(found)
    faces = _faces(job)
    weight, reasons = _weight(job, faces[0][1])
    chosen = _as_faces(faces, weight)
    if missing := chosen.missing(job.text):
        raise Refused([_letters_missing(job.text, missing)])
    return chosen, reasons


def _unusable(text: str) -> Iterator[Reason]:
    """Yield what makes a text one that Keyturn cannot set rightly."""
    if any(letter in letter_order.OVERRIDES for letter in text):
        what = f'"{_cut(text)}" has hidden characters that turn its letters round'
        yield refuse("words-turned-round", what, "type the words anew, and do not copy them")
    if letter_order.needs_raqm(text) and not shapes_any_script():
        what = f'the letters of "{_cut(text)}" join or run from right to left, and this shop lacks what sets them'
        mend = "the shop installs FriBidi, as keyturn doctor says; or draw the words as a picture and name it as art"
        yield refuse("words-not-set", what, mend)


def _faces(job: WordsJob) -> list[tuple[FontFile, Typeface]]:
    """Return the fonts that the text needs, in their order. A font that was not asked for and is broken is left out.

    Fonts are opened only as long as letters are missing.
    """
    found: list[tuple[FontFile, Typeface]] = []
    for number, file in enumerate(job.fonts):
        if found and not _as_faces(found, None).missing(job.text):
            break
        try:
            found.append((file, opened(file, file.version, job.intake)))
        except Refused:
            if number == 0 and job.named:
                raise
    return found


def _as_faces(found: Sequence[tuple[FontFile, Typeface]], weight: int | None) -> Faces:
    return Faces(tuple(file for file, _ in found), tuple(face for _, face in found), weight)


def _weight(job: WordsJob, face: Typeface) -> tuple[int | None, list[Reason]]:
    """Return the weight that the first font can have, and what is to be told of it."""
    if job.weight is None:
        return None, []
    bounds = face.weights()
    if bounds is None:
        what = "is a font of one weight"
        mend = "take weight out, or send the font's bold file, or a variable font"
        raise Refused([refuse("font-one-weight", what, mend, file=job.fonts[0].name or None)])
    weight = min(max(job.weight, round(bounds[0])), round(bounds[1]))
    if weight == job.weight:
        return weight, []
    what = f"weight = {job.weight} was read as {weight}: the font has {bounds[0]:g} to {bounds[1]:g}"
    return weight, [mended("font-weight", what)]


def _letters_missing(text: str, missing: Sequence[str]) -> Reason:
    shown = missing[:LETTERS_SHOWN]
    named = [f"{letter} ({unicodedata.name(letter, f'U+{ord(letter):04X}')})" for letter in shown]
    named += [f"{len(missing) - len(shown)} more"] if len(missing) > len(shown) else []
    what = f'no font here has a shape for {", ".join(named)}, in "{_cut(text)}"'
    mend = 'put a font that has it into the drop and name it: font = "brand.ttf"; or write the words otherwise'
    return refuse("letters-missing", what, mend)


def _cut(text: str) -> str:
    one_line = text.replace("\n", " ")
    return one_line[:57] + "..." * (len(one_line) > 57)


# -- how large ----------------------------------------------------------------------------------------


def _fitted(job: WordsJob, faces: Faces) -> tuple[float, SetText]:
    """Return the factor by which the text is made smaller, and the text laid out for it.

    It is made no smaller than can be read, and stays as it is where it was smaller before.
    """
    line = sum(faces.metrics(0))

    def at(scale: float) -> SetText:
        em_px = job.line_px * scale / line
        most = job.wrap * job.panel[0] / em_px if job.wrap and em_px > 0 else None
        return laid_out(job.text, faces, align=job.align, most=most)

    words = at(1.0)
    if job.fit is None or job.line_px <= 0:
        return 1.0, words
    least = min(1.0, job.least_px / (faces.capital() * job.line_px / line))
    if job.wrap is None:
        return min(1.0, max(least, 1 / max(1e-9, _times_too_wide(job, words, 1.0)))), words
    scale = 1.0
    while _times_too_wide(job, words, scale) > 1 and scale > least:
        scale = max(least, scale * STEP)
        words = at(scale)
    return scale, words


def _times_too_wide(job: WordsJob, words: SetText, scale: float) -> float:
    """Return how many times as wide as `fit` the text is."""
    return words.width * job.line_px * scale / words.line / ((job.fit or 1.0) * job.panel[0])


def _too_long(job: WordsJob, words: SetText, scale: float) -> list[Reason]:
    """Note a text that is wider than `fit` at the smallest size that can be read."""
    times = _times_too_wide(job, words, scale)
    if job.fit is None or times <= 1.001:
        return []
    high, short = round(job.line_px * scale), _cut(job.text)
    what = f'"{short}" is {times:.2f} times as wide as fit = {job.fit:g} allows, in lines {high} pixels high'
    mend = "break it into lines with wrap = 0.9, or write fewer words" if job.wrap is None else "write fewer words"
    return [note("words-too-long", what, mend)]
