"""A sheet of frames cut into its cells, as ImageMagick cuts and makes them."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.normalize.sheet_cells import SheetGrid, SheetJob, filled
from keyturn.shop import rulebook
from samples import picture

INTAKE = rulebook.load().intake


@pytest.mark.system
def test_the_cells_are_those_that_imagemagick_crops(tmp_path: Path) -> None:
    """ImageMagick's `-crop 4x2@` cuts into 4 columns and 2 rows, numbered row by row."""
    sheet = picture((80, 60), 1)
    sheet.save(tmp_path / "sheet.png")
    subprocess.run(
        ["convert", "sheet.png", "-crop", "4x2@", "+repage", "cell-%d.png"], cwd=tmp_path, check=True, timeout=60
    )
    cells = SheetGrid(4, 2).cells(sheet.size)
    assert len(cells) == 8
    for number, cell in enumerate(cells):
        cut = Image.open(tmp_path / f"cell-{number}.png").convert("RGB")
        assert np.array_equal(np.asarray(sheet.convert("RGB").crop(cell)), np.asarray(cut))


@pytest.mark.parametrize(
    ("grid", "size", "cell"),
    [
        (SheetGrid(8, 4), (800, 400), (100, 100)),
        (SheetGrid(3, 2, margin=5, gap=10), (3 * 20 + 2 * 10 + 10, 2 * 30 + 10 + 10), (20, 30)),
        (SheetGrid(3, 2), (100, 100), None),
        (SheetGrid(3, 2, margin=60), (100, 100), None),
    ],
)
def test_cells_are_whole_and_equal_or_there_are_none(
    grid: SheetGrid, size: tuple[int, int], cell: tuple[int, int] | None
) -> None:
    assert grid.cell_size(size) == cell
    assert len(grid.cells(size)) == (grid.columns * grid.rows if cell else 0)


@pytest.mark.parametrize(("mode", "rest"), [("RGBA", (0, 0, 0, 0)), ("RGB", (255, 255, 255))])
def test_last_cells_of_one_even_colour_are_left_out(tmp_path: Path, mode: str, rest: tuple[int, ...]) -> None:
    sheet = Image.new(mode, (30, 40), rest)
    for place in [(0, 0), (20, 0), (0, 20)]:  # the second is empty and stays: others follow it
        sheet.paste(picture((10, 20), 3).convert(mode), place)
    sheet.save(tmp_path / "s.png")
    cells = SheetGrid(3, 2).cells(sheet.size)
    assert filled(SheetJob(tmp_path / "s.png", "s.png", INTAKE, cells)) == cells[:4]
