"""Sheets of labels lie on their paper, their labels beside each other, and a shop may add its own."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from keyturn.shop import rulebook
from keyturn.shop.label_sheets import Labels
from keyturn.shop.reasons import ShopFault

SHIPPED = rulebook.load().labels


def test_the_papers_are_those_of_the_standards() -> None:
    a4, letter = SHIPPED.papers["a4"], SHIPPED.papers["letter"]
    assert (a4.width, a4.height) == (210, 297)  # ISO 216
    assert (letter.width, letter.height) == pytest.approx((8.5 * 25.4, 11 * 25.4))  # ANSI/ASME Y14.1, size A


@pytest.mark.parametrize("name", sorted(SHIPPED.sheets))
def test_a_sheet_is_as_far_from_one_edge_of_its_paper_as_from_the_other(name: str) -> None:
    """Common practice, no source: the labels stand in the middle of the sheet."""
    sheet = SHIPPED.sheets[name]
    paper = SHIPPED.papers[sheet.paper]
    assert sheet.first[0] == pytest.approx(paper.width - sheet.ends[0], abs=0.1)
    assert sheet.first[1] == pytest.approx(paper.height - sheet.ends[1], abs=0.1)


def test_a_sheet_is_found_by_its_name_or_by_its_papers() -> None:
    assert SHIPPED.sheet(None) is SHIPPED.sheet("a4") is SHIPPED.sheets["a4-21"]
    assert SHIPPED.sheet("letter") is SHIPPED.sheets["letter-30"]
    assert SHIPPED.sheet("a4-8") is SHIPPED.sheets["a4-8"] and SHIPPED.sheet("a3") is None


OWN = """
usual = "round"
[sheets.round]
source = "measured with a ruler"
paper = "a4"
columns = 2
rows = 3
label = [60, 60]
first = [30, 40]
step = [80, 75]
"""


def test_a_shop_adds_a_sheet_and_keeps_those_that_ship(tmp_path: Path) -> None:
    (tmp_path / "labels.toml").write_text(OWN, encoding="utf-8")
    labels = rulebook.load(tmp_path).labels
    assert labels.sheet(None) is labels.sheets["round"] and labels.sheets["round"].gaps == (20, 15)
    assert set(labels.sheets) == {"round", *SHIPPED.sheets}


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ("step = [50, 75]", "labels would lie on each other"),
        ("columns = 3", "do not fit on a4"),
        ('paper = "a3"', "there is no papers.a3"),
        ('usual = "square"', "there is no sheets.square"),
        ("label = [20, 60]", "greater than or equal to 25"),
    ],
)
def test_a_sheet_that_cannot_be_is_told(tmp_path: Path, wrong: str, words: str) -> None:
    key = wrong.partition(" ")[0]
    lines = [wrong if line.startswith(f"{key} ") else line for line in OWN.splitlines()]
    (tmp_path / "labels.toml").write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(ShopFault, match=words.replace(".", r"\.")):
        rulebook.load(tmp_path)


def test_one_column_needs_no_step() -> None:
    told = tomllib.loads(OWN)
    table = told["sheets"]["round"] | {"columns": 1, "rows": 1, "step": [0, 0]}
    papers = {"a4": SHIPPED.papers["a4"].model_dump() | {"usual": "round"}}
    alone = Labels.model_validate({"usual": "round", "papers": papers, "sheets": {"round": table}})
    assert alone.sheets["round"].most == 1 and alone.sheets["round"].gaps == (0, 0)
