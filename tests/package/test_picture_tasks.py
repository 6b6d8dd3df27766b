"""Single pictures in a worker: whole or refused, small for a page, and compared with another."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage.color import deltaE_cie76, rgb2lab

from keyturn.flatten.frame_source import Source
from keyturn.package.picture_tasks import Check, Compare, check, check_undamaged, compare, small
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake


def encoded(image: Image.Image) -> bytes:
    file = io.BytesIO()
    image.save(file, "PNG")
    return file.getvalue()


@pytest.mark.parametrize("check", [check, check_undamaged])
def test_a_whole_picture_passes_and_one_cut_short_is_refused_by_its_name(
    tmp_path: Path, check: Callable[[Check], None]
) -> None:
    data = encoded(Image.effect_noise((60, 40), 50))
    for name, content in (("whole.png", data), ("short.png", data[:-200])):
        (tmp_path / name).write_bytes(content)
    check(Check(Source(tmp_path / "whole.png", "lamps/whole.png"), INTAKE))
    with pytest.raises(Refused) as caught:
        check(Check(Source(tmp_path / "short.png", "lamps/short.png"), INTAKE))
    assert {reason.file for reason in caught.value.reasons} == {"lamps/short.png"}


def test_the_small_picture_is_a_webp_upright_on_grey(tmp_path: Path) -> None:
    picture = Image.new("RGBA", (400, 800), (200, 40, 40, 255))
    picture.paste((0, 0, 0, 0), (0, 400, 400, 800))
    picture.save(tmp_path / "half.png")
    made = Image.open(io.BytesIO(small(Check(Source(tmp_path / "half.png", "half.png"), INTAKE))))
    assert (made.format, made.size) == ("WEBP", (120, 240))
    pixels = np.asarray(made.convert("RGB")).astype(int)
    assert np.abs(pixels[30, 60] - (200, 40, 40)).max() < 10
    assert np.abs(pixels[200, 60] - 128).max() < 10


def test_equal_pictures_do_not_differ_and_others_by_their_cielab_distance() -> None:
    """The mean colour difference is CIE76's, as scikit-image computes it."""
    a = Image.new("RGB", (64, 64), (40, 60, 80))
    b = a.copy()
    b.paste((200, 180, 60), (0, 0, 64, 16))
    same, _ = compare(Compare(encoded(a), encoded(a), 32))
    assert (same.share_changed, same.mean_difference) == (0.0, 0.0)
    found, picture = compare(Compare(encoded(a), encoded(b), 32))
    wanted = deltaE_cie76(rgb2lab(np.asarray(a)), rgb2lab(np.asarray(b)))
    assert found.share_changed == pytest.approx(0.25)
    assert found.mean_difference == pytest.approx(wanted.mean(), rel=0.02)
    assert Image.open(io.BytesIO(picture)).size == (32, 32)
