"""Words in many scripts as Chromium sets them with the same fonts: the same boxes of ink, lying over each other.

Chromium shapes with HarfBuzz and orders by ICU; Keyturn with Raqm's HarfBuzz and FriBidi in Pillow. Its text-rendering
geometricPrecision turns hinting off.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from browser.conftest import missing
from keyturn.flatten import fonts, lettering
from keyturn.flatten.fonts import FontFile
from keyturn.flatten.lettering import ShadowLook, TextLook
from keyturn.flatten.text_layout import Faces, SetText, laid_out
from keyturn.shop import rulebook
from keyturn.shop.shop_fonts import own_typeface

pytestmark = [pytest.mark.browser, pytest.mark.system]

NOTO = Path("/usr/share/fonts/truetype/noto")
INTAKE = rulebook.load().intake
EM = 160
WHITE, PLAIN = (255, 255, 255), TextLook((255, 255, 255))

TEXTS = {
    "Latin": ("Grüße, Ægir – fjord & Łódź", "own"),
    "Greek": ("Καλημέρα Ελένη ΐ", "own"),
    "Cyrillic": ("Доброе утро, Їжак", "own"),
    "Arabic": ("مرحبًا ليلى، أهلاً ٢٠٢٦", "NotoSansArabic-Regular.ttf"),
    "Arabic, Naskh": ("مكتبة متنقلة لله", "NotoNaskhArabic-Bold.ttf"),
    "Urdu, Nastaliq": ("خوش آمدید", "NotoNastaliqUrdu-Regular.ttf"),
    "Hebrew": ("שלום רִבְקָה", "NotoSansHebrew-Regular.ttf"),
    "Devanagari": ("नमस्ते क्षत्रिय र्कि", "NotoSansDevanagari-Regular.ttf"),
    "Thai": ("สวัสดีครับ ผู้ที่น้ำ", "NotoSansThai-Regular.ttf"),
    "Tamil": ("வணக்கம் நண்பா கொ", "NotoSansTamil-Regular.ttf"),
    "Georgian": ("გამარჯობა", "NotoSansGeorgian-Regular.ttf"),
    "Khmer": ("សួស្តី​ក្រុម", "NotoSansKhmer-Regular.ttf"),
}
"""A text of each script, and its font."""

MIXED = [
    ("Fern مرحبا 12 (ليلى) Hollow!", ["own", "NotoSansArabic-Regular.ttf"]),
    ("مرحبا ليلى 2026 (Fern) أهلا", ["own", "NotoSansArabic-Regular.ttf"]),
    ("שלום Fern 12-34 רבי!", ["own", "NotoSansHebrew-Regular.ttf"]),
    ("Van Два नमस्ते שלום", ["own", "NotoSansDevanagari-Regular.ttf", "NotoSansHebrew-Regular.ttf"]),
]


def font_file(name: str) -> Path:
    path = own_typeface() if name == "own" else NOTO / name
    if not path.exists():
        missing(f"{path} is not installed (apt install fonts-noto-core)")
    return path


def faces(names: list[str], weight: int | None = None) -> Faces:
    files = tuple(FontFile(font_file(name)) for name in names)
    return Faces(files, tuple(fonts.opened(file, file.version, INTAKE) for file in files), weight)


Ink = np.ndarray
Shown = Callable[..., Ink]


@pytest.fixture(scope="module")
def shown(chromium: Any) -> Any:
    """shown(text, fonts, css="", weight=400): how much of each pixel Chromium covers, 0 to 1."""
    page = chromium.new_page(viewport={"width": 2400, "height": 1300})

    def make(text: str, names: list[str], css: str = "", weight: int = 400) -> Ink:
        data = [base64.b64encode(font_file(name).read_bytes()).decode("ascii") for name in names]
        sources = "".join(
            f"@font-face {{ font-family: F{n}; font-weight: 100 900; src: url(data:font/ttf;base64,{d}) }}"
            for n, d in enumerate(data)
        )
        family = ", ".join(f"F{n}" for n in range(len(names)))
        look = (
            f"font: {weight} {EM}px {family}; text-rendering: geometricPrecision; white-space: pre-wrap; color: #fff;"
        )
        html = f"<style>{sources} body {{ background: #000 }} p {{ margin: 150px; {look} {css} }}</style>"
        page.set_content(f'<meta charset="utf-8">{html}<p dir="auto">{escape(text)}</p>')
        page.evaluate("document.fonts.ready")
        assert page.evaluate("[...document.fonts].every(font => font.status == 'loaded')"), "a font was not needed"
        shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
        return np.asarray(shot, float)[..., 1] / 255

    yield make
    page.close()


def drawn(words: SetText, look: TextLook = PLAIN) -> Ink:
    """How much of each pixel Keyturn covers, for letters of `EM` pixels."""
    words, _ = lettering.inked(words, INTAKE)
    made = lettering.drawn(words, look, words.height * EM, 10**8, INTAKE)
    return made.light[..., 3].astype(float)


def box(ink: Ink) -> tuple[int, int, int, int]:
    rows, columns = np.nonzero(ink > 0.25)
    return columns.min(), rows.min(), columns.max() + 1, rows.max() + 1


def overlap(ours: Ink, theirs: Ink) -> float:
    """The ink that both have over the ink that either has, where the boxes lie best upon each other to a pixel."""
    (l0, t0, r0, b0), (l1, t1, r1, b1) = box(ours), box(theirs)
    margin = 4
    theirs = theirs[t1 - margin : b1 + margin, l1 - margin : r1 + margin]
    ours = np.pad(ours, 8)[t0 + 8 : b0 + 8, l0 + 8 : r0 + 8]
    best = 0.0
    for down in range(margin - 2, margin + 3):
        for across in range(margin - 2, margin + 3):
            placed = np.zeros_like(theirs)
            part = ours[: theirs.shape[0] - down, : theirs.shape[1] - across]
            placed[down : down + part.shape[0], across : across + part.shape[1]] = part
            best = max(best, np.minimum(placed, theirs).sum() / np.maximum(placed, theirs).sum())
    return best


def test_letters_in_another_order_or_not_joined_do_not_lie_over_each_other(shown: Shown) -> None:
    """What the comparison tells apart: the letters of each word as they would be without Raqm."""
    apart = laid_out("\u200c".join("مرحبا ليلى"), faces(["NotoSansArabic-Regular.ttf"]), align="left")
    theirs = shown("مرحبا ليلى", ["NotoSansArabic-Regular.ttf"])
    assert overlap(drawn(apart), theirs) < 0.6
    turned = laid_out("רבקה שלום", faces(["NotoSansHebrew-Regular.ttf"]), align="left")
    assert overlap(drawn(turned), shown("שלום רבקה", ["NotoSansHebrew-Regular.ttf"])) < 0.6


def assert_alike(ours: Ink, theirs: Ink, least: float = 0.9) -> None:
    (l0, t0, r0, b0), (l1, t1, r1, b1) = box(ours), box(theirs)
    assert (r0 - l0, b0 - t0) == pytest.approx((r1 - l1, b1 - t1), abs=3, rel=0.004)
    assert overlap(ours, theirs) >= least


@pytest.mark.parametrize("script", TEXTS)
def test_a_text_of_each_script_is_shaped_and_ordered_as_chromium_does_it(shown: Shown, script: str) -> None:
    text, name = TEXTS[script]
    assert_alike(drawn(laid_out(text, faces([name]), align="left")), shown(text, [name]))


@pytest.mark.parametrize(("text", "names"), MIXED)
def test_scripts_and_fonts_mixed_in_one_line_stand_in_chromium_s_order(
    shown: Shown, text: str, names: list[str]
) -> None:
    assert_alike(drawn(laid_out(text, faces(names), align="left")), shown(text, names))


@pytest.mark.parametrize(("weight", "least"), [(100, 0.75), (650, 0.9), (900, 0.9)])
def test_the_weight_of_a_variable_font_is_chromium_s(shown: Shown, weight: int, least: float) -> None:
    """The lightest letters are 4 pixels wide and half edge, which two programs soften differently."""
    words = laid_out("Fern Hollow", faces(["own"], weight), align="left")
    assert_alike(drawn(words), shown("Fern Hollow", ["own"], weight=weight), least)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("Welcome back to Fern Hollow, Marta-Louise Lindqvist", ["own"]),
        ("مرحبا ليلى في مكتبة فيرن هولو المتنقلة", ["NotoSansArabic-Regular.ttf"]),
    ],
)
@pytest.mark.parametrize(("align", "css"), [("left", "left"), ("centre", "center"), ("right", "right")])
def test_lines_break_and_are_aligned_as_chromium_s(
    shown: Shown, text: str, names: list[str], align: Any, css: str
) -> None:
    words = laid_out(text, faces(names), align=align, most=8.0)
    lines = {run.y for run in words.runs}
    assert len(lines) > 1
    line = words.height / len(lines)
    width = f"width: {8 * EM}px; text-align: {css}; line-height: {line * EM}px"
    assert_alike(drawn(words), shown(text, names, width))


def test_an_outline_stands_out_as_far_as_a_stroke_of_twice_its_width(shown: Shown) -> None:
    """CSS draws a stroke on the middle of the edge."""
    words = laid_out("Fern", faces(["own"]), align="left")
    width = 0.05 * words.line * EM
    ours = drawn(words, TextLook(WHITE, outline=(WHITE, 0.05)))
    css = f"-webkit-text-stroke: {2 * width}px #fff; stroke-linejoin: round; paint-order: stroke"
    assert_alike(ours, shown("Fern", ["own"], css))


def test_a_shadow_lies_as_far_off_and_is_as_soft_as_chromium_s(shown: Shown) -> None:
    """CSS Text Decoration 4: the blur radius is twice the standard deviation."""
    words = laid_out("Fern", faces(["own"]), align="left")
    line = words.line * EM
    ours = drawn(words, TextLook(WHITE, shadow=ShadowLook(WHITE, (0.2, 0.3), 0.05, 1.0)))
    css = f"text-shadow: {0.2 * line}px {0.3 * line}px {0.1 * line}px #fff"
    assert_alike(ours, shown("Fern", ["own"], css))
