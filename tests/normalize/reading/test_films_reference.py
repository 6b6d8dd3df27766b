"""Films against Debian's ffmpeg and ffprobe: frames, time stamps, pixels and which way up."""

from __future__ import annotations

import json
import random
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from film_samples import film, pictures, turned
from keyturn.normalize.reading import stills
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.srgb import upright
from keyturn.shop import rulebook

pytestmark = pytest.mark.system

INTAKE = rulebook.load().intake
SCENE = "testsrc2=s=128x96:r=12:d=2"
SCALED = "scale=flags=bicubic+accurate_rnd+full_chroma_int+full_chroma_inp+bitexact"
LEFT = ":in_h_chr_pos=0:in_v_chr_pos=128"
"""H.264, HEVC and MPEG-4 keep chroma level with the left one of two pixels (ITU-T H.264, figure E-1, type 0). FFmpeg
of today knows; Debian's, 5.1, puts it between the two unless it is told."""

RAW = ("-f", "rawvideo", "-pix_fmt", "rgb24", "-")
WAYS = {
    "h264.mp4": "-c:v libx264 -bf 2 -g 10 -pix_fmt yuv420p",
    "hevc10.mp4": "-c:v libx265 -x265-params log-level=error -pix_fmt yuv420p10le",
    "mpeg4.mp4": "-c:v mpeg4 -q:v 3",
    "vp8.webm": "-c:v libvpx -auto-alt-ref 1 -lag-in-frames 16 -pix_fmt yuv420p",
    "vp9.webm": "-c:v libvpx-vp9 -deadline realtime -cpu-used 8 -pix_fmt yuv420p",
    "av1.webm": "-c:v libaom-av1 -cpu-used 8 -pix_fmt yuv420p",
    "prores.mov": "-c:v prores_ks -profile:v 4 -pix_fmt yuva444p10le",
    "qtrle.mov": "-c:v qtrle -pix_fmt argb",
    "mjpeg.mov": "-c:v mjpeg -q:v 2 -pix_fmt yuvj420p",
}


@pytest.fixture
def ffmpeg(needs: Callable[[str], str]) -> Callable[..., bytes]:
    program = needs("ffmpeg")

    def run(*arguments: str | Path) -> bytes:
        words = [program, "-hide_banner", "-loglevel", "error", "-y", *map(str, arguments)]
        return subprocess.run(words, check=True, capture_output=True).stdout

    return run


@pytest.fixture
def ffprobe(needs: Callable[[str], str]) -> Callable[[Path], list[float]]:
    """The time stamps of a film's pictures in seconds, as they are shown."""
    program = needs("ffprobe")

    def stamps(path: Path) -> list[float]:
        words = [
            program,
            "-v",
            "error",
            "-select_streams",
            "v:0",
            "-show_entries",
            "frame=pts_time,best_effort_timestamp_time",
        ]
        said = json.loads(subprocess.run([*words, "-of", "json", path], check=True, capture_output=True).stdout)
        return [float(frame.get("pts_time") or frame["best_effort_timestamp_time"]) for frame in said["frames"]]

    return stamps


def agree(durations_ms: tuple[int, ...], stamps: list[float]) -> None:
    """Every picture begins where ffprobe says, to the millisecond that both round to."""
    begins = [sum(durations_ms[:n]) / 1000 for n in range(len(durations_ms))]
    assert len(begins) == len(stamps)
    assert max(abs(b - (s - stamps[0])) for b, s in zip(begins, stamps, strict=True)) <= 0.0011


@pytest.mark.parametrize("name", WAYS)
def test_frames_stamps_and_pixels_are_those_of_ffmpeg(
    tmp_path: Path, ffmpeg: Callable[..., bytes], ffprobe: Callable[[Path], list[float]], name: str
) -> None:
    """Pixels: two versions of swscale and of the decoders, so a mean difference of 1 step and 99 % within 4."""
    path = tmp_path / name
    ffmpeg("-f", "lavfi", "-i", SCENE, *WAYS[name].split(), path)
    found = stills.probe(path, INTAKE, name=name)
    agree(found.durations_ms, ffprobe(path))
    raw = ffmpeg("-i", path, "-vf", SCALED + LEFT * name.startswith(("h", "mpeg4")), *RAW)
    expected = np.frombuffer(raw, np.uint8).reshape(-1, 96, 128, 3).astype(int)
    assert len(expected) == found.frames
    with Clip(path, INTAKE, name) as clip:
        for index in (0, 1, 7, 23, 12):
            apart = np.abs(np.asarray(clip.frame(index).convert("RGB")).astype(int) - expected[index])
            assert apart.mean() <= 1 and np.quantile(apart, 0.99) <= 4, (index, apart.mean(), apart.max())


def test_a_varying_rate_is_ffprobes(
    tmp_path: Path, ffmpeg: Callable[..., bytes], ffprobe: Callable[[Path], list[float]]
) -> None:
    for name, codec in (("van.mp4", "libx264"), ("van.webm", "libvpx")):
        keep = "select='not(mod(n,3))+eq(n,4)+eq(n,20)'"
        ffmpeg("-f", "lavfi", "-i", SCENE, "-vf", keep, "-vsync", "vfr", "-c:v", codec, tmp_path / name)
        durations = stills.probe(tmp_path / name, INTAKE, name=name).durations_ms
        assert len(set(durations[:-1])) > 1
        agree(durations, ffprobe(tmp_path / name))


@pytest.mark.parametrize("rate", ["30000/1001", "24000/1001", "50", "7"])
def test_odd_rates_do_not_drift(
    tmp_path: Path, ffmpeg: Callable[..., bytes], ffprobe: Callable[[Path], list[float]], rate: str
) -> None:
    path = tmp_path / "van.mp4"
    ffmpeg("-f", "lavfi", "-i", f"testsrc2=s=32x32:r={rate}:d=8", "-pix_fmt", "yuv420p", path)
    agree(stills.probe(path, INTAKE, name="van.mp4").durations_ms, ffprobe(path))


def test_an_edit_list_is_followed_and_sound_is_left_aside(
    tmp_path: Path, ffmpeg: Callable[..., bytes], ffprobe: Callable[[Path], list[float]]
) -> None:
    """Cut without encoding anew, the first pictures stay in the file and only the edit list leaves them out."""
    whole, cut = tmp_path / "whole.mp4", tmp_path / "cut.mp4"
    sound = ["-f", "lavfi", "-i", "sine=d=2", "-c:a", "aac"]
    ffmpeg("-f", "lavfi", "-i", SCENE, *sound, "-c:v", "libx264", "-g", "10", "-pix_fmt", "yuv420p", whole)
    ffmpeg("-ss", "0.5", "-i", whole, "-c", "copy", cut)
    found = stills.probe(cut, INTAKE, name="cut.mp4")
    agree(found.durations_ms, ffprobe(cut))
    assert found.frames < stills.probe(whole, INTAKE, name="whole.mp4").frames
    with Clip(cut, INTAKE, "cut.mp4") as clip:
        raw = ffmpeg("-i", cut, "-vf", SCALED + LEFT, *RAW)
        expected = np.frombuffer(raw, np.uint8).reshape(-1, 96, 128, 3).astype(int)
        for index in (0, clip.frames - 1):
            assert np.abs(np.asarray(clip.frame(index)).astype(int) - expected[index]).mean() <= 1.5


OPEN = {
    "h264.mp4": "-c:v libx264 -x264-params open-gop=1:keyint=12:bframes=3 -pix_fmt yuv420p",
    "hevc.mkv": "-c:v libx265 -x265-params log-level=error:keyint=12:open-gop=1 -pix_fmt yuv420p",
    "vp9.webm": "-c:v libvpx-vp9 -b:v 300k -auto-alt-ref 1 -lag-in-frames 25 -g 16 -pix_fmt yuv420p",
    "parts.mp4": "-c:v libx264 -movflags frag_keyframe+empty_moov -g 12 -pix_fmt yuv420p",
}
"""Groups of pictures that look back beyond their first one, pictures that are never shown, and an index in parts."""


@pytest.mark.parametrize("name", OPEN)
def test_any_frame_out_of_order_is_the_one_a_straight_pass_gives(
    tmp_path: Path, ffmpeg: Callable[..., bytes], name: str
) -> None:
    path = tmp_path / name
    ffmpeg("-f", "lavfi", "-i", "testsrc2=s=128x96:r=12:d=4", *OPEN[name].split(), path)
    with Clip(path, INTAKE, name) as clip:
        straight = [clip.frame(index).tobytes() for index in range(clip.frames)]
        assert len(set(straight)) == 48
        for index in random.Random(3).sample(range(48), 24):
            assert clip.frame(index).tobytes() == straight[index]


@pytest.mark.parametrize(
    "matrix",
    [(1, 0, 0, 1), (-1, 0, 0, -1), (1, 0, 0, -1), (0, 1, 1, 0), (0, 1, -1, 0), (0, -1, 1, 0)],
)
def test_the_turn_is_that_of_ffmpegs_autorotation(
    tmp_path: Path, ffmpeg: Callable[..., bytes], matrix: tuple[int, int, int, int]
) -> None:
    path = film(tmp_path / "van.mp4", pictures(2, (64, 48)))
    path.write_bytes(turned(path.read_bytes(), matrix))
    found = stills.probe(path, INTAKE, name="van.mp4")
    raw = ffmpeg("-i", path, *RAW)
    wide, high = found.size
    expected = np.frombuffer(raw, np.uint8).reshape(-1, high, wide, 3)
    with Clip(path, INTAKE, "van.mp4") as clip:
        assert (np.asarray(upright(clip.frame(1))) == expected[1]).all()
