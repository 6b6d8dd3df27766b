"""The tags of a TIFF, against tifffile, which writes and reads them independently."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
import tifffile  # comes with scikit-image

from keyturn.normalize.reading import tiff_tags
from normalize.reading.test_tiffs import DEEP


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("big", [False, True])
def test_tags_are_what_tifffile_reads_in_them(tmp_path: Path, order: str, big: bool) -> None:
    path = tmp_path / "a.tif"
    how = {"photometric": "rgb", "extrasamples": ["unassalpha"], "rowsperstrip": 5}
    tifffile.imwrite(path, DEEP, bigtiff=big, byteorder=order, **how)
    with path.open("rb") as file:
        ours = tiff_tags.first_page(file)
    with tifffile.TiffFile(path) as theirs:
        page = theirs.pages[0].tags
        for tag in (256, 257, 258, 259, 262, 273, 277, 278, 279, 284, 338):
            wanted = page[tag].value
            assert ours[tag] == (tuple(wanted) if isinstance(wanted, tuple) else (int(wanted),)), tag


@pytest.mark.parametrize("length", [0, 3, 7, 9])
def test_a_file_that_ends_early_is_an_error(tmp_path: Path, length: int) -> None:
    path = tmp_path / "a.tif"
    path.write_bytes(b"II\x2a\0\x08\0\0\0\x01\0"[:length])
    with path.open("rb") as file, pytest.raises((ValueError, struct.error)):
        tiff_tags.first_page(file)
