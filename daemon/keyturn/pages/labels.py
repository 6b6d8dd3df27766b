"""The page of stick labels: the names that people look for, and a code that `keyturn status` understands.

Every length of a sheet of labels is in its own style, in mm, so that it prints where the labels are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from markupsafe import Markup

from keyturn.pages.languages import language_of_shop
from keyturn.pages.render import page
from keyturn.shop.label_code import LabelCode
from keyturn.shop.label_sheets import LabelSheet, Paper
from keyturn.shop.papers import Letterhead
from keyturn.shop.records import JobRecord

QUIET = 4
"""Modules of white around a code (ISO/IEC 18004, 5.3.8)."""

EDGE_MM, BETWEEN_MM = 2.0, 1.5
"""What stays free inside a label's edge, for sheets never lie quite straight in a printer, and beside the code."""

CODE_SHARE = 0.36
"""Widest share of a label that its code takes. With 37 modules across on the smallest sheet that ships, each is 0.37 mm
wide: phones read such codes (common practice, no source)."""

HEAD_LINE, FURTHER_LINES = 1.62, 6.0
"""Heights of a line of the head, and of the five other lines, in sizes of the text (labels.css)."""

LARGEST_MM = 3.4
"""Largest size of the text, about 10 points."""


@dataclass(frozen=True, slots=True)
class StickLabel:
    """One label: of which job the stick is, for which vehicle and radio, and its code as an SVG."""

    job: JobRecord
    vehicle: str
    radio: str
    code: Markup


def labels_of(
    job: JobRecord, digest: str, folder: str, vehicles: Sequence[str] = (), radios: Sequence[str] = ()
) -> tuple[StickLabel, ...]:
    """Return a label for each vehicle of the job and each of its radios, or for those named.

    `digest` is the SHA-256 of its job.json and `folder` the name of the revision's folder.
    """
    wanted, made_for = vehicles or job.vehicles or ("",), radios or [radio.radio for radio in job.radios]
    numbers = {name: number for number, name in enumerate(job.vehicles, 1)}
    return tuple(
        StickLabel(job, name, radio, code_picture(LabelCode(folder, digest, numbers.get(name, 0)).text()))
        for name, radio in product(wanted, made_for)
    )


def labels_page(
    title: str,
    made: Sequence[StickLabel],
    sheet: LabelSheet,
    paper: Paper,
    *,
    first: int = 1,
    letterhead: Letterhead | None = None,
) -> str:
    """Return a page to print with these labels. `title` is the job, or the drop whose jobs they are of.

    Those before the `first`, counted from 1, stay free: they are used up.
    """
    return page(
        "labels.html.j2",
        styles=("labels.css",),
        own_style=_style(sheet, paper),
        language=language_of_shop(letterhead),
        title=title,
        sheets=list(_sheets([*[None] * (first - 1), *made], sheet.most)),
    )


def code_picture(text: str) -> Markup:
    """Return the QR code (ISO/IEC 18004) of a text as an SVG that is as large as where it is put."""
    import segno  # other pages need not wait for it

    code = segno.make(text, error="m", micro=False)
    return Markup(code.svg_inline(border=QUIET, omitsize=True, svgclass="qr", lineclass=None, title=text))


def _sheets(every: Sequence[StickLabel | None], most: int) -> Iterator[Sequence[StickLabel | None]]:
    for start in range(0, len(every), most):
        yield every[start : start + most]


def _style(sheet: LabelSheet, paper: Paper) -> str:
    """Return the style that puts the labels where they are on the sheet."""
    width, height = sheet.label
    edge = min(EDGE_MM, height / 10)
    code = min(height - 2 * edge, CODE_SHARE * width)
    letter = min(LARGEST_MM, (height - 2 * edge) / (HEAD_LINE + FURTHER_LINES))
    head = 2 if height - 2 * edge >= (2 * HEAD_LINE + FURTHER_LINES) * letter else 1
    lengths = {
        "paper-width": paper.width,
        "paper-height": paper.height,
        "left": sheet.first[0],
        "top": sheet.first[1],
        "label-width": width,
        "label-height": height,
        "gap-across": sheet.gaps[0],
        "gap-down": sheet.gaps[1],
        "edge": edge,
        "between": BETWEEN_MM,
        "code": code,
        "letter": letter,
    }
    told = "".join(f" --{name}: {length:.3f}mm;" for name, length in lengths.items()) + f" --head-lines: {head};"
    grid = f".grid {{ grid-template-columns: repeat({sheet.columns}, {width:.3f}mm); }}"
    return f"@page {{ size: {paper.width:.3f}mm {paper.height:.3f}mm; margin: 0; }}\n.sheet {{{told} }}\n{grid}"
