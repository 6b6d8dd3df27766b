"""The page of stick labels: one a stick, with its names and its code."""

from __future__ import annotations

import re
from collections.abc import Sequence
from types import ModuleType
from typing import Any

import pytest
import zxingcpp
from PIL import Image, ImageDraw

from keyturn.pages.labels import QUIET, code_picture, labels_of, labels_page
from keyturn.shop import rulebook
from keyturn.shop.papers import Letterhead
from page_text import text_of

RULES = rulebook.load().labels
DIGEST = "3f9a0c1b22dd4e5f" * 4
VANS = ("Van 1", "Van <2>")


def page_of(job: Any, vehicles: Sequence[str] = (), radios: Sequence[str] = (), **more: Any) -> str:
    sheet = RULES.sheets["a4-21"]
    made = labels_of(job, DIGEST, "van-two-r1", vehicles, radios)
    return labels_page(job.job, made, sheet, RULES.papers[sheet.paper], **more)


def codes(page: str) -> list[str]:
    return re.findall(r"<title>(keyturn:.*?)</title>", page)


def test_each_vehicle_has_a_label_with_its_names_and_its_own_code(by_hand: ModuleType) -> None:
    page = page_of(by_hand.job(vehicles=VANS))
    assert page.count('<article class="stick">') == 2
    assert codes(page) == [f"keyturn:van-two-r1:{DIGEST[:16]}:{number}" for number in (1, 2)]
    text = " ".join(text_of(page).split())
    for van in VANS:
        assert re.search(rf"{van} ?Fern Hollow Mobile Library ?van-two ?Revision 1 ?tall-768x1024", text)


def test_a_job_without_vehicles_has_a_label_for_each_radio(by_hand: ModuleType) -> None:
    both = by_hand.job(by_hand.radio(), by_hand.radio("wide-1024x600", (1024, 600)))
    page = page_of(both)
    assert codes(page) == [f"keyturn:van-two-r1:{DIGEST[:16]}"] * 2
    assert "tall-768x1024" in page and "wide-1024x600" in page
    assert page_of(both, radios=["wide-1024x600"]).count("<article") == 1
    vans = both.model_copy(update={"vehicles": VANS})
    assert page_of(vans).count("<article") == 4
    assert codes(page_of(vans, vehicles=["Van <2>"], radios=["wide-1024x600"])) == [
        f"keyturn:van-two-r1:{DIGEST[:16]}:2"
    ]


def test_labels_that_are_used_up_stay_free_and_a_full_sheet_is_followed_by_another(by_hand: ModuleType) -> None:
    job = by_hand.job(vehicles=tuple(f"Van {number}" for number in range(1, 24)))
    page = page_of(job, first=3)
    assert page.count('class="stick used"') == 2 and page.count('<section class="sheet"') == 2
    assert page.index("Van 19") < page.rindex('<section class="sheet"') < page.index("Van 20")


def test_names_that_others_chose_are_text(by_hand: ModuleType) -> None:
    page = page_of(by_hand.job(customer=by_hand.HOSTILE, job=by_hand.HOSTILE, vehicles=(by_hand.HOSTILE,)))
    assert "<script>" not in page and text_of(page).count("<script>") >= 1


def test_the_labels_are_in_the_shops_language(by_hand: ModuleType) -> None:
    page = page_of(by_hand.job(vehicles=VANS), letterhead=Letterhead(language="ar"))
    assert '<html lang="ar" dir="rtl">' in page


def drawn(svg: str, module: int = 6) -> Image.Image:
    """Draw the code's one path by hand: lines one module wide, as SVG 1.1, 8.3, has M, m and h."""
    (size,) = re.findall(r'viewBox="0 0 (\d+) \1"', svg)
    (path,) = re.findall(r'<path [^>]*d="([^"]+)"', svg)
    picture = Image.new("1", (int(size) * module,) * 2, 1)
    pen, x, y = ImageDraw.Draw(picture), 0.0, 0.0
    for step, arguments in re.findall(r"([Mmh])([^Mmh]*)", path):
        numbers = [float(number) for number in re.findall(r"-?[\d.]+", arguments)]
        if step == "h":
            left, top = x * module, (y - 0.5) * module
            pen.rectangle((left, top, left + numbers[0] * module - 1, top + module - 1), fill=0)
        x = x + numbers[0] if step != "M" else numbers[0]
        y = {"h": y, "m": y + numbers[-1], "M": numbers[-1]}[step]
    return picture


@pytest.mark.parametrize("text", [f"keyturn:van-two-r1:{DIGEST[:16]}:2", "keyturn:" + "x" * 120])
def test_another_program_reads_the_code(text: str) -> None:
    """ZXing-C++, an independent reader of ISO/IEC 18004."""
    svg = code_picture(text)
    (read,) = zxingcpp.read_barcodes(drawn(svg))
    assert (read.text, read.format.name) == (text, "QRCode")
    assert f"M{QUIET} {QUIET}.5" in svg, "the first dark module lies behind the quiet zone"
