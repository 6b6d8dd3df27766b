"""A sample of the odd-art campaign, and that its own yardstick can tell right from wrong."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageOps

from keyturn.normalize.reading import stills
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from odd.campaign import faults, laid_backdrop, through_the_line, with_small_radio
from odd.judging import Outcome, Task, tried
from odd.makers import BY_HAND, every
from odd.marker import ALPHA, BITS, COLOURS, GREYS, PANEL, Odd, seen, shown, spread, stored

INTAKE = rulebook.load().intake
ONE_IN = 19


@pytest.fixture(scope="module")
def sample() -> list[Odd]:
    return list(every(3, BY_HAND))[::ONE_IN]


@pytest.mark.parametrize("blocks", [COLOURS, GREYS, BITS * 255, shown(GREYS, ALPHA), shown(COLOURS, ALPHA)])
@pytest.mark.parametrize("turn", range(2, 9))
def test_no_turn_or_flip_passes_for_the_scene(blocks: NDArray[np.uint8], turn: int) -> None:
    upright = spread(shown(blocks) if blocks.ndim == 2 else blocks, PANEL)
    turned = Image.fromarray(np.ascontiguousarray(stored(upright, turn)).astype(np.uint8))
    as_shown = np.asarray(ImageOps.fit(turned, PANEL))
    assert np.abs(seen(as_shown) - seen(upright)).max() > 60  # the widest tolerance of any odd file but one


@pytest.mark.parametrize("turn", range(1, 9))
def test_the_scene_is_turned_as_the_standard_says(turn: int) -> None:
    # Pillow's own reading of the EXIF tag is the independent one here.
    held = Image.fromarray(np.ascontiguousarray(stored(spread(COLOURS, PANEL), turn)))
    held.getexif()[0x0112] = turn
    assert (np.asarray(ImageOps.exif_transpose(held)) == spread(COLOURS, PANEL)).all()


def test_a_file_shown_wrongly_is_found(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    Image.fromarray(spread(COLOURS[:, ::-1], PANEL)).save(path)
    odd = Odd("png-mirrored", path.read_bytes(), (shown(COLOURS),))
    for way in range(3):
        outcome = tried(Task(odd, path, laid_backdrop(tmp_path), INTAKE, way))
        assert outcome.what == "wrong" and faults(odd, outcome) == "wrong"
    assert faults(odd, Outcome("refused", ("picture-broken",))) == "refused"
    assert faults(Odd("x", b"", expect="any"), Outcome("refused", ("picture-defeats-reader",)))


@pytest.mark.slow
def test_every_odd_file_is_made_right_or_refused_with_a_reason(tmp_path: Path, sample: list[Odd]) -> None:
    families = {"png", "jpeg", "tiff", "bmp", "gif", "apng", "webp", "tga", "ppm"}
    assert families <= {odd.family for odd in sample}
    found = []
    for number, odd in enumerate(sample):
        path = tmp_path / "art"
        path.write_bytes(odd.data)
        outcome = tried(Task(odd, path, laid_backdrop(tmp_path), INTAKE, number))
        if fault := faults(odd, outcome):
            found.append(f"{odd.name}: {fault}: {outcome.text}")
    assert not found


@pytest.mark.slow
def test_the_whole_line_takes_them_too(tmp_path: Path, sample: list[Odd]) -> None:
    rules = with_small_radio(tmp_path)
    ends = {odd.name: through_the_line(odd, rules) for odd in sample[::12]}
    assert set(ends.values()) <= {"made", "refused"} and "made" in ends.values()


def test_a_jpeg_too_deep_says_so(tmp_path: Path) -> None:
    # ITU-T T.81, table B.2: the sample precision of extended processes is 8 or 12 bits.
    file = io.BytesIO()
    Image.new("RGB", (16, 16)).save(file, "JPEG", icc_profile=bytes(90_000))
    data = bytearray(file.getvalue())
    data[data.index(b"\xff\xc0") + 4] = 12
    path = tmp_path / "a.jpg"
    path.write_bytes(data)
    with pytest.raises(Refused) as caught:
        stills.probe(path, INTAKE, name="a.jpg")
    (reason,) = caught.value.reasons
    assert reason.code == "picture-layout" and "12 bits" in reason.what
