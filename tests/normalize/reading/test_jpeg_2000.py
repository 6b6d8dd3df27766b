"""JPEG 2000: as FFmpeg's own decoder shows it, its profile kept, and what Pillow gets wrong refused."""

from __future__ import annotations

import io
import struct
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from keyturn.normalize.reading import stills
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from odd.others import GREY, RGB, RGBA, saved

INTAKE = rulebook.load().intake


@pytest.mark.system
@pytest.mark.parametrize("no_jp2", [False, True])
def test_ffmpeg_shows_the_same(tmp_path: Path, needs: Callable[[str], str], no_jp2: bool) -> None:
    for pixels, layout in ((RGB, "rgb24"), (RGBA, "rgba"), (GREY, "gray")):
        (tmp_path / "a.jp2").write_bytes(saved(pixels, "JPEG2000", no_jp2=no_jp2))
        way = ["-v", "error", "-c:v", "jpeg2000", "-i", tmp_path / "a.jp2", "-f", "rawvideo", "-pix_fmt", layout, "-"]
        shown = subprocess.run([needs("ffmpeg"), *way], capture_output=True, check=True).stdout
        made = np.asarray(stills.load(tmp_path / "a.jp2", INTAKE, name="a.jp2"))
        assert np.array_equal(made, np.frombuffer(shown, np.uint8).reshape(pixels.shape))


@pytest.mark.system
def test_deep_colours_are_refused_because_pillow_turns_their_white_into_black(
    tmp_path: Path, needs: Callable[[str], str]
) -> None:
    """As seen: 65,535 comes out as 0. When Pillow shows it right, this can go."""
    path = tmp_path / "a.jp2"
    white = ["-f", "lavfi", "-i", "color=white:size=16x16", "-frames:v", "1", "-pix_fmt", "rgb48le"]
    subprocess.run([needs("ffmpeg"), "-v", "error", *white, "-c:v", "jpeg2000", "-pred", "1", path], check=True)
    assert np.asarray(Image.open(path)).max() < 255
    with pytest.raises(Refused) as caught:
        stills.probe(path, INTAKE, name="a.jp2")
    assert caught.value.reasons[0].code == "picture-layout" and "16 bits" in caught.value.reasons[0].what


def test_deep_greys_are_rounded(tmp_path: Path) -> None:
    (tmp_path / "a.jp2").write_bytes(saved(GREY.astype(np.uint16) * 257, "JPEG2000"))
    assert np.array_equal(np.asarray(stills.load(tmp_path / "a.jp2", INTAKE, name="a.jp2")), GREY)


def test_its_colour_profile_is_kept(tmp_path: Path) -> None:
    """T.800, I.5.3.3: method 2 of the box colr is a profile."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = saved(RGB, "JPEG2000")
    at = data.index(b"colr") - 4
    (length,) = struct.unpack(">I", data[at : at + 4])
    box = struct.pack(">I4sBBB", 11 + len(profile), b"colr", 2, 0, 0) + profile
    above = data.index(b"jp2h") - 4
    (outer,) = struct.unpack(">I", data[above : above + 4])
    grown = struct.pack(">I", outer + len(box) - length)
    data = data[:above] + grown + data[above + 4 : at] + box + data[at + length :]
    (tmp_path / "a.jp2").write_bytes(data)
    assert stills.load(tmp_path / "a.jp2", INTAKE, name="a.jp2").info["icc_profile"] == profile


@pytest.mark.parametrize("cut", [13, 60, 100, 300])
def test_a_file_that_breaks_off_is_refused(tmp_path: Path, cut: int) -> None:
    (tmp_path / "a.jp2").write_bytes(saved(RGB, "JPEG2000")[:cut])
    with pytest.raises(Refused) as caught:
        stills.load(tmp_path / "a.jp2", INTAKE, name="a.jp2")
    assert caught.value.reasons[0].code == "picture-broken"


def test_a_box_without_a_length_ends_the_search(tmp_path: Path) -> None:
    file = io.BytesIO(b"\0\0\0\x0cjP  \r\n\x87\n" + struct.pack(">I4s", 3, b"jp2h") + bytes(40))
    (tmp_path / "a.jp2").write_bytes(file.getvalue())
    with pytest.raises(Refused, match="without a length"):
        stills.probe(tmp_path / "a.jp2", INTAKE, name="a.jp2")
