"""Films, made here with PyAV: their timing, their pictures, and what is refused."""

from __future__ import annotations

import errno
import io
import random
import sys
import warnings
import zlib
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from film_samples import film, pictures, turned
from keyturn.normalize.reading import film_colour, film_completeness, film_times, pillow_limits, stills
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.reading.film_decoding import FilmPass
from keyturn.normalize.reading.films import Film
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.normalize.reading.probe import Probe
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour

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


def test_only_the_stretch_that_is_wanted_is_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = film(tmp_path / "van.mp4", pictures(60), keyframes=10)
    straight, seen = FilmPass._decoded, []

    def counted(self: FilmPass) -> object:
        for frame in straight(self):
            seen.append(frame.pts)
            yield frame

    with Clip(path, INTAKE, "van.mp4") as clip:
        monkeypatch.setattr(FilmPass, "_decoded", counted)
        for index in range(41, 50):
            clip.frame(index)
    assert len(seen) == 10  # from keyframe 40 to frame 49, each once


@given(st.lists(st.integers(1, 5000), min_size=1, max_size=60), st.integers(1, 2000))
def test_durations_are_the_stamps_to_half_a_millisecond(steps: list[int], ticks_a_second: int) -> None:
    """The end of frame n lies within half a millisecond of its exact place, however long the film (closed form);
    frames of less than a millisecond apart, each of which counts as one."""
    stamps = [7 + sum(steps[:n]) for n in range(len(steps))]
    tick = Fraction(1, ticks_a_second)
    durations = film_times.durations_ms(stamps, steps[-1], tick)
    if min(steps) * tick * 1000 < 2:
        assert all(d >= 1 for d in durations)
        return
    for n in range(len(steps)):
        assert abs(sum(durations[: n + 1]) - sum(steps[: n + 1]) * tick * 1000) <= Fraction(1, 2)


def test_a_last_frame_without_a_length_stands_as_long_as_the_one_before() -> None:
    assert film_times.durations_ms([0, 50, 80], 0, Fraction(1, 1000)) == (50, 30, 30)


@given(st.sets(st.integers(0, 40)), st.integers(0, 41), st.integers(0, 40))
def test_a_film_is_entered_where_the_fewest_frames_are_decoded(keys: set[int], upcoming: int, wanted: int) -> None:
    """Against a count: from each place one can start, so many frames up to the one that is wanted."""
    keys |= {0}
    stamps = [100 + 40 * n for n in range(41)]
    entry = film_times.entry(stamps, [stamps[k] for k in sorted(keys)], upcoming, wanted, 0)
    start = upcoming if entry is None else stamps.index(entry)
    ways = [key for key in keys if key <= wanted] + ([upcoming] if upcoming <= wanted else [])
    assert wanted - start == min(wanted - way for way in ways)


def test_a_film_of_keyframes_is_opened_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = film(tmp_path / "van.mp4", pictures(40), keyframes=1)
    opened: list[int] = []
    straight = FilmPass.__init__
    monkeypatch.setattr(FilmPass, "__init__", lambda self, *about: (opened.append(1), straight(self, *about))[1])
    with Clip(path, INTAKE, "van.mp4") as clip:
        before = len(opened)
        for index in range(0, 40, 3):
            clip.frame(index)
    assert len(opened) == before


def test_a_still_film_is_taken_as_a_still(tmp_path: Path) -> None:
    path = film(tmp_path / "one.mp4", pictures(1))
    assert probe(path).frames == 1
    assert (pixels(stills.load(path, INTAKE, name="one.mp4")) == pictures(1)[0]).all()


# -- which way up, how wide -------------------------------------------------------------------------

MATRICES = {
    1: (1, 0, 0, 1),
    2: (-1, 0, 0, 1),
    3: (-1, 0, 0, -1),
    4: (1, 0, 0, -1),
    5: (0, 1, 1, 0),
    6: (0, 1, -1, 0),
    7: (0, -1, -1, 0),
    8: (0, -1, 1, 0),
}


@pytest.mark.parametrize("turn", MATRICES)
def test_a_film_is_turned_as_its_matrix_says_and_once(tmp_path: Path, turn: int) -> None:
    """Pixel (x, y) is shown at (ax + cy, bx + dy), moved back into the picture (ISO/IEC 14496-12, 8.3.2)."""
    a, b, c, d = MATRICES[turn]
    drawn = pictures(2, (64, 48))[1]
    path = film(tmp_path / "van.mp4", [drawn] * 2)
    path.write_bytes(turned(path.read_bytes(), MATRICES[turn]))
    y, x = np.mgrid[0:48, 0:64]
    right, down = a * x + c * y, b * x + d * y
    right, down = right - right.min(), down - down.min()
    expected = np.zeros((down.max() + 1, right.max() + 1, 3), int)
    expected[down, right] = drawn
    found = probe(path)
    assert (found.orientation, found.size) == (turn, expected.shape[1::-1])
    assert [r.code for r in found.reasons] == ["turned-upright"] * (turn != 1)
    with Clip(path, INTAKE, "van.mp4") as clip:
        assert (pixels(upright(clip.frame(1))) == expected).all()
    assert (pixels(upright(stills.load(path, INTAKE, name="van.mp4"))) == expected).all()


@pytest.mark.parametrize(("aspect", "size"), [((4, 3), (85, 48)), ((3, 4), (64, 64)), ((1, 1), (64, 48))])
def test_pixels_that_are_not_square_are_made_so(tmp_path: Path, aspect: tuple[int, int], size: tuple[int, int]) -> None:
    path = film(tmp_path / "van.mp4", pictures(2), aspect=Fraction(*aspect))
    assert probe(path).size == size
    with Clip(path, INTAKE, "van.mp4") as clip:
        assert clip.frame(1).size == size


# -- colour -----------------------------------------------------------------------------------------

WEIGHTS = {1: (0.2126, 0.0722), 5: (0.299, 0.114), 6: (0.299, 0.114), 9: (0.2627, 0.0593)}
"""Kr and Kb by ITU-T H.273, table 4: BT.709, BT.601 (625 and 525 lines), BT.2020."""


def rgb(y: float, u: float, v: float, matrix: int, full: bool, bits: int = 8) -> np.ndarray:
    """ITU-T H.273, 8.3: from code values to R'G'B' of 0 to 255."""
    step = 1 << (bits - 8)
    kr, kb = WEIGHTS[matrix]
    luma = y / (256 * step - 1) if full else (y / step - 16) / 219
    cb, cr = ((c - 128 * step) / (256 * step - 1) if full else (c / step - 128) / 224 for c in (u, v))
    r, b = luma + 2 * (1 - kr) * cr, luma + 2 * (1 - kb) * cb
    g = (luma - kr * r - kb * b) / (1 - kr - kb)
    return np.clip(np.array([r, g, b]) * 255, 0, 255)


CODES = [(81, 90, 240), (145, 54, 34), (41, 240, 110), (180, 128, 128), (16, 128, 128), (235, 128, 128), (120, 150, 90)]


def planes(code: tuple[int, int, int], size: tuple[int, int], deep: bool = False) -> list[np.ndarray]:
    return [np.full(size[::-1], value * 4 + 1 if deep else value, np.uint16 if deep else np.uint8) for value in code]


@pytest.mark.parametrize(("matrix", "range_"), [(1, 1), (1, 2), (5, 1), (6, 1), (6, 2), (9, 1)])
def test_colours_follow_the_tags(tmp_path: Path, matrix: int, range_: int) -> None:
    about = {"colorspace": matrix, "color_range": range_}
    drawn = [planes(code, (64, 48)) for code in CODES]
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p", codec="libx264", about=about)
    with Clip(path, INTAKE, "v.mp4") as clip:
        for index, code in enumerate(CODES):
            worst = np.abs(pixels(clip.frame(index)) - rgb(*code, matrix, range_ == 2)).max()
            assert worst <= 1.5, (code, worst)


@pytest.mark.parametrize(("size", "matrix"), [((64, 48), 6), ((1280, 64), 1), ((64, 720), 1), ((1024, 576), 6)])
def test_an_untagged_film_is_read_by_its_size(tmp_path: Path, size: tuple[int, int], matrix: int) -> None:
    """BT.709 from 720 lines or 1280 columns on, else BT.601, both limited (common practice, no source)."""
    drawn = [planes(CODES[0], size)] * 2
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p", codec="libx264")
    with Clip(path, INTAKE, "v.mp4") as clip:
        assert np.abs(pixels(clip.frame(0)) - rgb(*CODES[0], matrix, False)).max() <= 1.5


def test_ten_bits_become_eight(tmp_path: Path) -> None:
    drawn = [planes(code, (64, 48), deep=True) for code in CODES]
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p10le", codec="libx264", about={"colorspace": 1})
    found = probe(path)
    assert found.bits == 10 and [r.code for r in found.reasons] == ["depth-reduced"]
    with Clip(path, INTAKE, "v.mp4") as clip:
        for index, code in enumerate(CODES):
            deep = [4 * value + 1 for value in code]
            assert np.abs(pixels(clip.frame(index)) - rgb(*deep, 1, False, bits=10)).max() <= 1.5


@pytest.mark.parametrize("transfer", [16, 18])
def test_hdr_is_told_and_comes_out_as_a_png_that_says_the_same(tmp_path: Path, transfer: int) -> None:
    """ITU-T H.273, table 3: 16 is PQ, 18 is HLG; PNG's cICP chunk holds the same numbers."""
    about = {"color_primaries": 9, "color_trc": transfer, "colorspace": 9}
    drawn = [planes(CODES[0], (64, 48))] * 2
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p", codec="libx264", about=about)
    assert "film-hdr" in [r.code for r in probe(path).reasons]
    with Clip(path, INTAKE, "v.mp4") as clip:
        raw = clip.frame(1)
    made, reasons = to_srgb(raw)
    assert [r.code for r in reasons] == ["profile-followed"]
    raw.info = {}
    raw.save(tmp_path / "v.png")
    png = (tmp_path / "v.png").read_bytes()
    chunk = b"cICP" + bytes([9, transfer, 0, 1])
    said = (4).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    (tmp_path / "v.png").write_bytes(png[:33] + said + png[33:])
    expected, _ = to_srgb(stills.load(tmp_path / "v.png", INTAKE, name="v.png"))
    assert (pixels(made) == pixels(expected)).all()


def test_the_wider_colours_of_phones_are_brought_to_srgb(tmp_path: Path) -> None:
    """Display P3's primaries (H.273's 12), against colour-science; the curve is taken for sRGB's."""
    for code in [(126, 120, 150), (150, 110, 140), (180, 128, 128)]:  # within sRGB, where nothing is cut off
        about = {"color_primaries": 12, "color_trc": 1, "colorspace": 1}
        path = film(tmp_path / "v.mp4", [planes(code, (64, 48))] * 2, layout="yuv444p", codec="libx264", about=about)
        with Clip(path, INTAKE, "v.mp4") as clip:
            made = pixels(to_srgb(clip.frame(0))[0])[0, 0]
        spaces = [colour.RGB_COLOURSPACES[name] for name in ("Display P3", "sRGB")]
        light = colour.models.eotf_sRGB(rgb(*code, 1, False) / 255)
        there = colour.RGB_to_RGB(light, *spaces)
        expected = colour.models.eotf_inverse_sRGB(there) * 255
        assert (expected >= 0).all() and np.abs(made - expected).max() <= 2


def test_see_through_areas_of_a_webm_stay_so(tmp_path: Path) -> None:
    """yuva420p: the fourth plane is the alpha, and is kept without loss here."""
    alpha = np.tile(np.arange(64, dtype=np.uint8) * 4, (48, 1))
    luma, chroma = np.full((48, 64), 120, np.uint8), np.full((24, 32), 128, np.uint8)
    path = film(
        tmp_path / "ghost.webm",
        [[luma, chroma, chroma, alpha]] * 3,
        layout="yuva420p",
        tags={"alpha_mode": "1"},
        codec="libvpx-vp9",
        options={"lossless": "1", "auto-alt-ref": "0", "deadline": "realtime", "cpu-used": "8"},
    )
    assert probe(path).alpha
    with Clip(path, INTAKE, "ghost.webm") as clip:
        made = np.asarray(clip.frame(2))
    assert made.shape == (48, 64, 4) and (made[..., 3] == alpha).all()
    assert np.abs(made[..., :3].astype(int) - round((120 - 16) / 219 * 255)).max() <= 1


# -- what is refused --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["van.mp4", "van.mov", "van.webm"])
def test_a_film_cut_short_anywhere_is_refused(tmp_path: Path, name: str) -> None:
    way = VP9 if name.endswith("webm") else {}
    path = film(tmp_path / name, pictures(6), **way)  # type: ignore[arg-type]
    whole = path.read_bytes()
    for share in (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99):
        path.write_bytes(whole[: int(len(whole) * share)])
        assert refusal(path) in ("picture-broken", "picture-unknown")
    path.write_bytes(whole[:-1])
    assert refusal(path) == "picture-broken"


def test_an_index_that_promises_more_than_the_file_holds_is_refused(tmp_path: Path) -> None:
    """All boxes whole, as after a copy that filled up with nothing; the pictures end in the middle."""
    path = film(tmp_path / "van.mp4", pictures(6))
    whole = path.read_bytes()
    at = whole.index(b"mdat") - 4
    size = int.from_bytes(whole[at : at + 4], "big")
    hollow = whole[: at + 8 + size // 2] + bytes(size - 8 - size // 2) + whole[at + size :]
    assert len(hollow) == len(whole)
    path.write_bytes(hollow)
    assert refusal(path) == "picture-broken"


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


def test_a_film_of_too_many_pixels_is_refused_by_its_header(tmp_path: Path) -> None:
    path = film(tmp_path / "van.mp4", pictures(2))
    caps = INTAKE.caps.model_copy(update={"clip_mpx": 0.003})
    assert refusal(path, INTAKE.model_copy(update={"caps": caps})) == "picture-too-large"


def test_a_codec_that_is_not_named_in_the_rules_is_refused(tmp_path: Path) -> None:
    path = film(tmp_path / "van.mp4", pictures(2))
    formats = INTAKE.formats.model_copy(update={"codecs": ("vp9",)})
    assert refusal(path, INTAKE.model_copy(update={"formats": formats})) == "film-codec"


def test_without_the_extra_a_film_is_refused_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = film(tmp_path / "van.mp4", pictures(2))
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(Refused) as caught:
        probe(path)
    (reason,) = caught.value.reasons
    assert reason.code == "picture-kind" and "keyturn[video]" in reason.mend and "a film" in reason.what


def test_lists_of_other_films_are_no_films(tmp_path: Path) -> None:
    """Playlists (ffconcat, M3U8) would name other files; no demuxer that follows them is ever asked."""
    path = tmp_path / "van.mp4"
    canary = film(tmp_path / "canary.mp4", pictures(2))
    for text in (f"ffconcat version 1.0\nfile {canary}\n", f"#EXTM3U\n#EXTINF:1,\n{canary}\n", f"file {canary}\n"):
        path.write_text(text)
        assert refusal(path) == "picture-unknown"
        path.write_bytes(b"\0\0\0\x10ftypisom\0\0\0\0" + text.encode())
        assert refusal(path) == "picture-broken"


def test_boxes_know_a_whole_film_from_a_part(tmp_path: Path) -> None:
    whole = film(tmp_path / "van.mp4", pictures(2)).read_bytes()
    film_completeness.check(io.BytesIO(whole), "MP4")
    with pytest.raises(Broken):
        film_completeness.check(io.BytesIO(whole[:-5]), "MP4")
    assert film_colour.turn(b"") == 1
