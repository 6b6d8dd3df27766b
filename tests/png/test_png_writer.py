"""Finished files, by what other programs make of them."""

from __future__ import annotations

import io
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.png import png_writer
from stage_fixtures import arts, loaded_with_metadata


@pytest.mark.system
@pytest.mark.parametrize("kind", arts())
def test_pngcheck_finds_plain_rgb_and_nothing_else(tmp_path: Path, kind: str, needs: Callable[[str], str]) -> None:
    image = loaded_with_metadata(arts()[kind])
    path = tmp_path / "0001.png"
    path.write_bytes(png_writer.png(image))
    told = subprocess.run([needs("pngcheck"), "-v", path], capture_output=True, text=True, check=True).stdout
    assert "{} x {} image, 24-bit RGB, non-interlaced".format(*image.size) in told
    assert set(re.findall(r"chunk (\w+) at", told)) == {"IHDR", "IDAT", "IEND"}
    assert "No errors detected" in told


@pytest.mark.parametrize("kind", arts())
def test_png_keeps_every_pixel_and_the_same_art_gives_the_same_bytes(kind: str, libraries: str) -> None:
    image = arts()[kind]
    data = png_writer.png(image)
    assert (np.asarray(Image.open(io.BytesIO(data))) == np.asarray(image)).all()
    assert data == png_writer.png(loaded_with_metadata(arts()[kind]))


@pytest.mark.parametrize("kind", arts())
def test_files_are_as_small_as_pillows_at_the_usual_level(kind: str, libraries: str) -> None:
    image = arts()[kind]
    file = io.BytesIO()
    image.save(file, "PNG", compress_level=6)
    assert len(png_writer.png(image)) <= 1.05 * len(file.getvalue())


def test_the_size_foretold_is_about_the_size_made() -> None:
    for kind, image in arts().items():
        foretold, made = png_writer.packed_size(np.asarray(image)), len(png_writer.png(image))
        assert made / 2 < foretold + 200 and foretold < 3 * made, kind


def test_only_finished_frames_are_taken() -> None:
    for mode in ("RGBA", "L", "P", "CMYK"):
        with pytest.raises(ValueError, match="is RGB, not"):
            png_writer.png(Image.new(mode, (8, 8)))
