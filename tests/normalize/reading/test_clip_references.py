"""GIF and APNG frame by frame against FFmpeg's decoders, and how long each frame stands against ffprobe.

Where FFmpeg (5.1 to 7.1) and this house part: a GIF frame that is to be cleared and has no transparent colour. FFmpeg
fills its place with the file's background colour, as GIF89a (23.c.iv) says; here it becomes transparent, as in every
browser (common practice, no source). The test holds FFmpeg to exactly that. FFmpeg 5.1 reads no animated WebP.
"""

from __future__ import annotations

import itertools
import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from keyturn.normalize.reading.clips import Clip
from keyturn.shop import rulebook
from odd.films import PALETTE, SIZE, Cel, apng, drawn, gif, scene

INTAKE = rulebook.load().intake
BACKGROUND = PALETTE[3]
"""The colour that odd.films.gif names as the background."""

pytestmark = pytest.mark.system
Pixels = NDArray[np.float64]
Needs = Callable[[str], str]


def by_ffmpeg(path: Path, ffmpeg: str, *how: str) -> Pixels:
    """Every frame as RGBA, (frames, H, W, 4)."""
    command = [ffmpeg, "-v", "error", *how, "-i", str(path), "-fps_mode", "passthrough"]
    done = subprocess.run([*command, "-f", "rawvideo", "-pix_fmt", "rgba", "-"], capture_output=True, check=True)
    return np.frombuffer(done.stdout, np.uint8).reshape(-1, SIZE[1], SIZE[0], 4).astype(float)


def by_us(path: Path) -> Pixels:
    with Clip(path, INTAKE, name=path.name) as clip:
        return np.stack([np.asarray(clip.frame(index)) for index in range(clip.frames)]).astype(float)


def as_seen(frames: Pixels) -> Pixels:
    """Colours by their weight, for colour under full transparency is not seen."""
    return np.concatenate([frames[..., :3] * frames[..., 3:] / 255, frames[..., 3:]], -1)


def cleared_first(ways: tuple[int, ...]) -> list[Cel]:
    """As drawn, but the whole scene has a hole too, so that each frame has a transparent colour."""
    whole, *rest = drawn(ways)
    return [Cel(scene(clear=True), dispose=whole.dispose), *rest]


def random_cels(number: int, most_dispose: int) -> list[Cel]:
    """Boxes of any size anywhere, the first one whole; half of the pixels of each are clear."""
    dice = np.random.default_rng(number)
    cels = [Cel(scene(clear=True))]
    for _ in range(40):
        wide, high = int(dice.integers(1, SIZE[0] + 1)), int(dice.integers(1, SIZE[1] + 1))
        x, y = int(dice.integers(0, SIZE[0] - wide + 1)), int(dice.integers(0, SIZE[1] - high + 1))
        colours = PALETTE[dice.integers(0, 15, (high, wide))]
        alpha = dice.choice([0, 255], (high, wide, 1))
        alpha[0, 0] = 0
        pixels = np.concatenate([colours, alpha], -1).astype(np.uint8)
        cels.append(Cel(pixels, x, y, int(dice.integers(0, most_dispose + 1)), int(dice.integers(0, 2))))
    return cels


def test_every_succession_of_gif_disposals(tmp_path: Path, needs: Needs) -> None:
    path = tmp_path / "a.gif"
    cels = [cel for ways in itertools.product(range(4), repeat=3) for cel in cleared_first(ways)]
    path.write_bytes(gif(cels))
    ours, theirs = by_us(path), by_ffmpeg(path, needs("ffmpeg"), "-ignore_loop", "1")
    assert len(ours) == len(theirs) == 256
    assert (as_seen(ours) == as_seen(theirs)).all()


def test_where_ffmpeg_fills_with_the_background(tmp_path: Path, needs: Needs) -> None:
    path = tmp_path / "a.gif"
    parted = 0
    for ways in itertools.product((1, 2), repeat=3):
        path.write_bytes(gif(drawn(ways)))
        ours, theirs = by_us(path), by_ffmpeg(path, needs("ffmpeg"), "-ignore_loop", "1")
        apart = (as_seen(ours) != as_seen(theirs)).any(-1)
        assert (ours[apart][:, 3] == 0).all() and (theirs[apart] == [*BACKGROUND, 255]).all()
        parted += bool(apart.any())
    assert parted == 4  # the whole scene alone has no transparent colour


@pytest.mark.parametrize("number", range(6))
def test_gifs_of_any_boxes(tmp_path: Path, needs: Needs, number: int) -> None:
    path = tmp_path / "a.gif"
    path.write_bytes(gif(random_cels(number, 3), laced=number % 2 == 1, own=number % 3 == 2))
    ours, theirs = by_us(path), by_ffmpeg(path, needs("ffmpeg"), "-ignore_loop", "1")
    assert len(ours) == len(theirs) == 41
    assert (as_seen(ours) == as_seen(theirs)).all()


def test_every_succession_of_apng_disposals_and_blends(tmp_path: Path, needs: Needs) -> None:
    path = tmp_path / "a.png"
    every = itertools.product(itertools.product(range(3), repeat=3), itertools.product((0, 1), repeat=3))
    cels = [cel for ways, blends in every for cel in drawn(ways, blends, soft=True)]
    path.write_bytes(apng(cels))
    ours, theirs = by_us(path), by_ffmpeg(path, needs("ffmpeg"), "-f", "apng")
    assert len(ours) == len(theirs) == 864
    assert np.abs(as_seen(ours) - as_seen(theirs)).max() <= 2  # both round where half-clear pixels are laid over


@pytest.mark.parametrize("number", range(6))
def test_apngs_of_any_boxes(tmp_path: Path, needs: Needs, number: int) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(apng(random_cels(number, 2)))
    ours, theirs = by_us(path), by_ffmpeg(path, needs("ffmpeg"), "-f", "apng")
    assert len(ours) == len(theirs) == 41
    assert (as_seen(ours) == as_seen(theirs)).all()


def durations_ms(path: Path, ffprobe: str, *how: str) -> list[float]:
    command = [ffprobe, "-v", "error", *how, "-show_entries", "packet=duration_time", "-of", "json", str(path)]
    done = subprocess.run(command, capture_output=True, check=True, text=True)
    return [1000 * float(packet["duration_time"]) for packet in json.loads(done.stdout)["packets"]]


def test_gif_frames_stand_as_long_as_ffprobe_says(tmp_path: Path, needs: Needs) -> None:
    path = tmp_path / "a.gif"
    delays = [0, 1, 2, 3, 4, 7, 10, 33, 100, 499, 5]
    path.write_bytes(gif([Cel(scene(i), delay=delay) for i, delay in enumerate(delays)]))
    with Clip(path, INTAKE, name="a.gif") as clip:
        assert list(clip.durations_ms) == pytest.approx(durations_ms(path, needs("ffprobe")))
        assert clip.durations_ms[:3] == (100, 100, 20)


def test_apng_frames_stand_as_long_as_ffprobe_says(tmp_path: Path, needs: Needs) -> None:
    path = tmp_path / "a.png"
    delays = [2, 3, 4, 7, 10, 33, 100, 499, 5]
    path.write_bytes(apng([Cel(scene(i), delay=delay) for i, delay in enumerate(delays)]))
    theirs = durations_ms(path, needs("ffprobe"), "-f", "apng")
    with Clip(path, INTAKE, name="a.png") as clip:
        # FFmpeg's APNG demuxer caps the rate at its option max_fps, which is 15 unless asked otherwise.
        assert list(clip.durations_ms) == [10 * delay for delay in delays]
        assert len(theirs) == len(delays)
        for ours, other in zip(clip.durations_ms, theirs, strict=True):
            assert other == pytest.approx(max(ours, other))
