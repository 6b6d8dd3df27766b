"""Film frames with their own times, against what was packed."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image, ImageOps

from keyturn.calibrate import grey_frames
from keyturn.calibrate.grey_frames import LONGEST_SIDE, upright
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook


def packed(path: Path, stamps: list[int], size: tuple[int, int] = (64, 48)) -> Path:
    """Pack frames of rising light, each with its stamp in 1/1000 s."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30, options={"crf": "1", "tune": "zerolatency"})
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.codec_context.time_base = stream.time_base = Fraction(1, 1000)
        for number, stamp in enumerate(stamps):
            grey = np.full(size[::-1], 40 + 20 * number, np.uint8)
            frame = av.VideoFrame.from_ndarray(np.stack([grey] * 3, axis=-1), format="rgb24")
            frame.pts, frame.time_base = stamp, Fraction(1, 1000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def test_each_frame_has_its_own_time(rules: Rulebook, tmp_path: Path) -> None:
    stamps = [500, 533, 600, 610, 700]
    frames = list(grey_frames.of(packed(tmp_path / "a.mp4", stamps), "a.mp4", rules.intake))
    assert [frame.at_s for frame in frames] == pytest.approx([(stamp - 500) / 1000 for stamp in stamps], abs=1e-3)
    levels = [float(frame.grey.mean()) for frame in frames]
    assert levels == pytest.approx([40 + 20 * number for number in range(5)], abs=4)


def test_a_large_film_is_read_smaller(rules: Rulebook, tmp_path: Path) -> None:
    (frame,) = grey_frames.of(packed(tmp_path / "a.mp4", [0], (1920, 1080)), "a.mp4", rules.intake)
    assert frame.grey.shape == (720, LONGEST_SIDE)


@pytest.mark.parametrize("turn", range(1, 9))
def test_it_is_turned_as_pillow_turns_a_photograph(turn: int) -> None:
    grey = np.arange(12, dtype=np.uint8).reshape(3, 4)
    image = Image.fromarray(grey)
    image.getexif()[0x0112] = turn
    assert (upright(grey, turn) == np.asarray(ImageOps.exif_transpose(image))).all()


@pytest.mark.parametrize(("data", "what"), [(b"no film at all", "not taken"), (b"", "not taken")])
def test_what_is_no_film_is_refused_by_its_name(data: bytes, what: str, rules: Rulebook, tmp_path: Path) -> None:
    (tmp_path / "a.mp4").write_bytes(data)
    with pytest.raises(Refused) as caught:
        list(grey_frames.of(tmp_path / "a.mp4", "start1.mp4", rules.intake))
    assert what in caught.value.reasons[0].what and caught.value.reasons[0].file == "start1.mp4"


def test_a_film_that_was_cut_short_is_refused(rules: Rulebook, tmp_path: Path) -> None:
    path = packed(tmp_path / "a.mp4", [0, 33, 66])
    path.write_bytes(path.read_bytes()[:-200])
    with pytest.raises(Refused, match="damaged"):
        list(grey_frames.of(path, "start1.mp4", rules.intake))
