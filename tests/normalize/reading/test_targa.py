"""TGA frames: every layout as ImageMagick and FFmpeg show it; files written by the published specification."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.normalize.reading import kinds, stills
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from odd.marker import Odd
from odd.others import RGB, RGBA, files, tga

INTAKE = rulebook.load().intake
SOUND = {odd.name: odd for odd in files() if odd.name.startswith(("tga-", "targa-")) and odd.expect == "made"}


def loaded(path: Path, data: bytes) -> Image.Image:
    path.write_bytes(data)
    return stills.load(path, INTAKE, name="0001.tga")


def by_ffmpeg(program: str, path: Path) -> np.ndarray:
    way = ["-v", "error", "-f", "image2", "-c:v", "targa", "-i", path, "-f", "rawvideo", "-pix_fmt", "rgba", "-"]
    shown = subprocess.run([program, *way], capture_output=True, check=True)
    return np.frombuffer(shown.stdout, np.uint8).reshape(RGB.shape[0], RGB.shape[1], 4)


@pytest.mark.system
@pytest.mark.parametrize("name", [name for name in SOUND if "corner" not in name and "-alpha" not in name][::3])
def test_ffmpeg_shows_the_same(tmp_path: Path, needs: Callable[[str], str], name: str) -> None:
    """FFmpeg scales 5 bits by another rounding: one step apart."""
    odd: Odd = SOUND[name]
    made = np.asarray(loaded(tmp_path / "a.tga", odd.data).convert("RGBA")).astype(int)
    apart = np.abs(made - by_ffmpeg(needs("ffmpeg"), tmp_path / "a.tga"))
    channels = 4 if name.startswith("tga-") else 3  # FFmpeg knows no attributes type
    assert name in ("targa-premultiplied", "targa-said-unused") or apart[..., :channels].max() <= 1


@pytest.mark.system
def test_ffmpegs_file_is_read_to_the_pixel(tmp_path: Path, needs: Callable[[str], str]) -> None:
    Image.fromarray(RGBA).save(tmp_path / "a.png")
    for number, way in enumerate((["-rle", "1"], ["-rle", "0"])):
        path = tmp_path / f"{number}.tga"
        subprocess.run([needs("ffmpeg"), "-v", "error", "-i", tmp_path / "a.png", *way, path], check=True)
        assert np.array_equal(np.asarray(stills.load(path, INTAKE, name="0001.tga").convert("RGBA")), RGBA)


def test_its_header_is_told_although_it_has_no_first_bytes() -> None:
    assert {kinds.of(odd.data[:512]) for odd in SOUND.values()} == {"TGA"}
    assert kinds.of(b"over the wide hill lie the lamps") == ""


def test_the_fourth_channel_counts_unless_it_was_never_filled_or_said_to_be_unused(tmp_path: Path) -> None:
    """Specification 2.0, field 24: 0 to 2 no alpha, 3 alpha, 4 colours multiplied by it."""
    assert np.array_equal(np.asarray(loaded(tmp_path / "a", SOUND["targa-straight"].data)), RGBA)
    for name in ("targa-said-unused", "tga-unused-alpha"):
        assert np.array_equal(np.asarray(loaded(tmp_path / "a", SOUND[name].data)), RGB)
    divided = np.asarray(loaded(tmp_path / "a", SOUND["targa-premultiplied"].data)).astype(int)
    assert np.abs(divided - RGBA)[RGBA[..., 3] > 50].max() <= 3


@pytest.mark.parametrize("depth", [15, 16])
def test_the_spare_bit_is_no_transparency(tmp_path: Path, depth: int) -> None:
    made = loaded(tmp_path / "a", SOUND[f"tga-{depth}bits1"].data)
    assert made.mode == "RGB" and np.abs(np.asarray(made).astype(int) - RGB).max() <= 7


def test_a_file_that_breaks_off_and_one_of_deep_greys_are_refused(tmp_path: Path) -> None:
    whole = tga("rgb", RGB[..., ::-1], depth=24)
    for data, code in ((whole[:900], "picture-broken"), (whole[:17], "picture-unknown")):
        with pytest.raises(Refused) as caught:
            loaded(tmp_path / "a", data)
        assert caught.value.reasons[0].code == code
    with pytest.raises(Refused) as caught:
        loaded(tmp_path / "a", tga("grey", RGB[..., :2], depth=16))
    assert caught.value.reasons[0].code == "picture-layout"
