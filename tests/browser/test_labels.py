"""Stick labels as Chromium prints them: where they lie on the sheet, and that their codes can be read."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

from keyturn.pages.labels import labels_of, labels_page
from keyturn.shop import rulebook
from keyturn.shop.papers import Letterhead

pypdfium2 = pytest.importorskip("pypdfium2")
zxingcpp = pytest.importorskip("zxingcpp")

pytestmark = pytest.mark.browser

RULES = rulebook.load().labels
MM = 25.4 / 72
DOTS = 200  # an inch: fewer than common printers have
NEAR_MM = 0.3  # Chromium rounds to pixels of 1/96 inch (CSS Values 4, 6.2): 0.26 mm

Box = tuple[float, float, float, float]


def made_of(job: Any) -> Any:
    return labels_of(job, "3f9a0c1b22dd4e5f" * 4, "van-two-r1")


def box_of(sheet: Any, number: int, direction: str) -> Box:
    """Left, top, right and bottom of a label in mm, from the figures of the sheet."""
    row, column = divmod(number, sheet.columns)
    column = column if direction == "ltr" else sheet.columns - 1 - column
    left, top = sheet.first[0] + column * sheet.step[0], sheet.first[1] + row * sheet.step[1]
    return left, top, left + sheet.label[0], top + sheet.label[1]


def is_inside(inner: Box, outer: Box) -> bool:
    return inner[0] >= outer[0] and inner[1] >= outer[1] and inner[2] <= outer[2] and inner[3] <= outer[3]


def codes_on(page: Any) -> dict[str, Box]:
    """Read the codes of a printed page (ZXing-C++), each with its box in mm."""
    picture = page.render(scale=DOTS / 72).to_pil()
    found = {}
    for code in zxingcpp.read_barcodes(picture):
        corners = code.position.top_left, code.position.bottom_right
        found[code.text] = tuple(value * 25.4 / DOTS for corner in corners for value in (corner.x, corner.y))
    return found


def letters_on(page: Any) -> list[Box]:
    """Return the box of each letter of a printed page in mm, from its upper left corner (ISO 32000-1, 8.3.2)."""
    height = page.get_height()
    text = page.get_textpage()
    found = []
    for index in range(text.count_chars()):
        left, bottom, right, top = text.get_charbox(index)
        if right > left and text.get_text_range(index, 1).strip():
            found.append((left * MM, (height - top) * MM, right * MM, (height - bottom) * MM))
    return found


@pytest.mark.parametrize(
    ("name", "language"), [*((name, "en") for name in sorted(RULES.sheets)), ("a4-65", "ar"), ("letter-30", "ar")]
)
def test_labels_are_printed_where_the_sheet_has_them(
    opened: Callable[..., Any], by_hand: ModuleType, name: str, language: str
) -> None:
    """PDFium renders what Chromium prints, and ZXing-C++ reads it."""
    sheet, direction = RULES.sheets[name], "rtl" if language == "ar" else "ltr"
    paper, first = RULES.papers[sheet.paper], 3
    long = "The fourth van of the mobile library, the green one with the ladder on its roof"
    vans = (*(f"Van {number}" for number in range(1, sheet.most - 1)), "الحافلة ٣", long)
    job = by_hand.job(vehicles=vans[-6:], job="van-two-with-a-name-that-has-more-letters-than-most-have")
    shop = Letterhead("Lantern Row Radio", language=language)
    html = labels_page(job.job, made_of(job), sheet, paper, first=first, letterhead=shop)
    printed = pypdfium2.PdfDocument(opened(html).page.pdf(prefer_css_page_size=True))
    assert len(printed) == 1
    width, height = printed[0].get_size()
    assert (width * MM, height * MM) == pytest.approx((paper.width, paper.height), abs=NEAR_MM)
    boxes = [box_of(sheet, first - 1 + number, direction) for number in range(len(job.vehicles))]
    codes = codes_on(printed[0])
    assert sorted(codes) == [f"keyturn:van-two-r1:3f9a0c1b22dd4e5f:{number + 1}" for number in range(len(boxes))]
    for (text, code), label in zip(sorted(codes.items()), boxes, strict=True):
        assert is_inside(code, label), text
        assert (code[1] + code[3]) / 2 == pytest.approx((label[1] + label[3]) / 2, abs=NEAR_MM)
        assert code[2] - code[0] >= 29 * 0.25, "a version 3 code has 29 modules; phones read 0.25 mm"
        near = code[0] - label[0] if direction == "ltr" else label[2] - code[2]
        other = codes[min(codes)]
        assert near == pytest.approx(
            other[0] - boxes[0][0] if direction == "ltr" else boxes[0][2] - other[2], abs=NEAR_MM
        )
    letters = letters_on(printed[0])
    assert len(letters) > 200
    for letter in letters:
        assert any(is_inside(letter, label) for label in boxes), letter
        assert not any(is_inside(letter, code) for code in codes.values())


def test_more_labels_than_a_sheet_has_go_on_the_next(opened: Callable[..., Any], by_hand: ModuleType) -> None:
    sheet = RULES.sheets["a4-21"]
    job = by_hand.job(vehicles=tuple(f"Van {number}" for number in range(1, 44)))
    html = labels_page("vans", made_of(job), sheet, RULES.papers["a4"])
    opened_page = opened(html, width=320).page
    assert opened_page.get_by_text("actual size").is_visible()
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert opened_page.evaluate(wide) <= 0, "the page fits a phone, WCAG 2.2, 1.4.10; the sheet is moved by itself"
    printed = pypdfium2.PdfDocument(opened_page.pdf(prefer_css_page_size=True))
    assert [page.get_textpage().get_text_range().count("Revision 1") for page in printed] == [21, 21, 1]
    opened_page.emulate_media(media="print")
    assert not opened_page.get_by_text("actual size").is_visible()


def test_the_codes_can_be_read_from_a_dark_screen(opened: Callable[..., Any], by_hand: ModuleType) -> None:
    from io import BytesIO

    from PIL import Image

    sheet = RULES.sheets["a4-8"]
    html = labels_page("van", made_of(by_hand.job()), sheet, RULES.papers["a4"])
    page = opened(html, color_scheme="dark").page
    (read,) = zxingcpp.read_barcodes(Image.open(BytesIO(page.screenshot())))
    assert read.text == "keyturn:van-two-r1:3f9a0c1b22dd4e5f"
