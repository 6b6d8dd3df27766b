"""Films, made here with PyAV: their timing, their pictures, and what is refused."""

from __future__ import annotations

import errno
import io
import random
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from film_samples import film, pictures
from keyturn.normalize.reading import pillow_limits, stills
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.reading.films import Film
from keyturn.normalize.reading.probe import Probe
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake
UNEVEN = [0, 40, 80, 200, 210, 500, 533, 1000]
VP9 = {"codec": "libvpx-vp9", "options": {"lossless": "1", "deadline": "realtime", "cpu-used": "8"}}


def probe(path: Path) -> Probe:
    return stills.probe(path, INTAKE, name=path.name)


def pixels(image: Image.Image) -> np.ndarray:
    return np.asarray(image.convert("RGB")).astype(int)


def refusal(path: Path, intake: rulebook.Intake = INTAKE) -> str:
    """The code of the one reason why the film is refused, at its header or at one of its frames."""
    with pytest.raises(Refused) as caught:
        stills.probe(path, intake, name="van.mp4")
        with Clip(path, intake, "van.mp4") as clip:
            for index in range(clip.frames):
                clip.frame(index)
    (reason,) = caught.value.reasons
    assert reason.file == "van.mp4" and reason.mend
    return reason.code


# -- timing and pictures ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["van.mp4", "van.mov", "van.mkv"])
def test_each_frame_stands_as_long_as_its_stamps_say_and_comes_bit_for_bit(tmp_path: Path, name: str) -> None:
    """The film is lossless RGB with a varying rate; what was put in must come out."""
    drawn = pictures(8)
    found = probe(film(tmp_path / name, drawn, stamps=UNEVEN, last_ms=70))
    assert found.durations_ms == (40, 40, 120, 10, 290, 33, 467, 70)
    assert (found.size, found.frames, found.bits, found.alpha, found.reasons) == ((64, 48), 8, 8, False, ())
    with Clip(tmp_path / name, INTAKE, name) as clip:
        assert clip.durations_ms == found.durations_ms and clip.size == (64, 48)
        for index, expected in enumerate(drawn):
            assert (pixels(clip.frame(index)) == expected).all()


@pytest.mark.parametrize("way", [{"options": {"qp": "0", "bf": "2", "b-adapt": "0"}}, VP9], ids=["b-frames", "vp9"])
def test_frames_come_in_any_order(tmp_path: Path, way: dict[str, object]) -> None:
    """Stored in another order than shown, with a keyframe every 7 frames: any jump gives what a straight pass gives."""
    layout = {} if "codec" in way else {"codec": "libx264", "layout": "yuv444p"}
    shown = [planes((60 + 4 * n, 128, 128), (64, 48)) for n in range(30)] if layout else pictures(30)
    path = film(tmp_path / "van.mkv", shown, keyframes=7, **layout, **way)  # type: ignore[arg-type]
    with Clip(path, INTAKE, "van.mkv") as clip:
        straight = [pixels(clip.frame(index)) for index in range(clip.frames)]
    assert len(straight) == 30 and len({s.tobytes() for s in straight}) == 30
    order = [*range(0, 30, 2), 29, 3, 3, 4, 28, 0, 15, 14, 13, 22, 21]
    with Clip(path, INTAKE, "van.mkv") as clip:
        for index in order:
            assert (pixels(clip.frame(index)) == straight[index]).all(), index
        with pytest.raises(IndexError):
            clip.frame(30)


def test_a_still_film_is_taken_as_a_still(tmp_path: Path) -> None:
    path = film(tmp_path / "one.mp4", pictures(1))
    assert probe(path).frames == 1
    assert (pixels(stills.load(path, INTAKE, name="one.mp4")) == pictures(1)[0]).all()


def planes(code: tuple[int, int, int], size: tuple[int, int], deep: bool = False) -> list[np.ndarray]:
    return [np.full(size[::-1], value * 4 + 1 if deep else value, np.uint16 if deep else np.uint8) for value in code]


# -- what is refused --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["van.mp4", "van.webm"])
def test_a_damaged_film_is_made_or_refused_and_nothing_else(tmp_path: Path, name: str) -> None:
    way = VP9 if name.endswith("webm") else {}
    path = film(tmp_path / name, pictures(4), **way)  # type: ignore[arg-type]
    whole, dice, made = path.read_bytes(), random.Random(5), 0
    for _ in range(60):
        data = bytearray(whole)
        for _ in range(dice.choice((1, 4))):
            data[dice.randrange(len(data))] = dice.randrange(256)
        path.write_bytes(data)
        try:
            with Clip(path, INTAKE, name) as clip:
                made += all(clip.frame(index).size for index in range(min(clip.frames, 8)))
        except Refused:
            continue
    assert 0 < made < 60


def test_a_fault_of_the_disk_is_not_the_films(tmp_path: Path) -> None:
    path = film(tmp_path / "van.mp4", pictures(6))

    class Failing(io.BytesIO):
        reads_left = 0

        def read(self, size: int | None = -1) -> bytes:
            self.reads_left -= 1
            if self.reads_left < 0:
                raise OSError(errno.EIO, "as the disk says")
            return super().read(size)

    failed = 0
    for reads in range(60):
        file = Failing(path.read_bytes())
        file.reads_left = reads
        try:
            with pillow_limits.reading("van.mp4", 120):
                made = Film(file, "MP4", INTAKE)
                [made.frame(index) for index in range(6)]
        except OSError as error:
            assert error.errno == errno.EIO
            failed += 1
    assert failed > 5


def test_without_the_extra_a_film_is_refused_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = film(tmp_path / "van.mp4", pictures(2))
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(Refused) as caught:
        probe(path)
    (reason,) = caught.value.reasons
    assert reason.code == "picture-kind" and "keyturn[video]" in reason.mend and "a film" in reason.what
