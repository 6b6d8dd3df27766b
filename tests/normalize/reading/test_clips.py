"""Clips frame by frame, against compositors written here from the specifications; and their timing."""

from __future__ import annotations

import itertools
import random
import struct
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from keyturn.normalize.reading import clip_frames, stills
from keyturn.normalize.reading.clips import Clip, is_clip, resample
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake
SIZE = (7, 5)
Pixels = NDArray[np.uint8]


@dataclass(frozen=True)
class Drawn:
    """One frame to be written: RGBA pixels at x, y; `dispose` and `blend` as the format numbers them."""

    x: int
    y: int
    pixels: Pixels
    dispose: int
    blend: int = 1
    delay: int = 4


# -- writing, by the letter of the specifications ---------------------------------------------------

PALETTE = [(0, 0, 0), (255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 0), (0, 255, 255), (9, 90, 200), (7, 7, 7)]


def gif(frames: list[Drawn], screen: tuple[int, int] = SIZE, trailer: bytes = b";") -> bytes:
    """GIF89a with one palette of eight colours; a pixel whose alpha is 0 becomes index 7, transparent."""
    parts = [b"GIF89a", struct.pack("<HHBBB", *screen, 0xF2, 3, 0), bytes(itertools.chain(*PALETTE))]
    for drawn in frames:
        h, w = drawn.pixels.shape[:2]
        flags = drawn.dispose << 2 | 1
        parts.append(b"!\xf9\x04" + struct.pack("<BHBB", flags, drawn.delay, 7, 0))
        parts.append(b"," + struct.pack("<HHHHB", drawn.x, drawn.y, w, h, 0))
        flat = drawn.pixels.reshape(-1, 4)
        indices = [7 if p[3] == 0 else PALETTE.index(tuple(int(v) for v in p[:3])) for p in flat]
        parts.append(lzw(indices))
    return b"".join(parts) + trailer


def lzw(indices: list[int]) -> bytes:
    """Plain codes of 4 bits with a clear code (8) before the table could grow (GIF89a, appendix F)."""
    codes = [*itertools.chain.from_iterable([8, *indices[i : i + 4]] for i in range(0, len(indices), 4)), 9]
    bits = sum(code << 4 * i for i, code in enumerate(codes))
    data = bits.to_bytes((4 * len(codes) + 7) // 8, "little")
    blocks = [data[i : i + 255] for i in range(0, len(data), 255)]
    return b"\x03" + b"".join(bytes([len(b)]) + b for b in blocks) + b"\0"


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def apng(frames: list[Drawn], still: Pixels | None = None, bits: int = 8) -> bytes:
    """RGBA; with `still`, a default image that is no part of the animation."""
    parts = [b"\x89PNG\r\n\x1a\n", chunk(b"IHDR", struct.pack(">IIBBBBB", *SIZE, bits, 6, 0, 0, 0))]
    parts.append(chunk(b"acTL", struct.pack(">II", len(frames), 0)))
    numbers = itertools.count()
    if still is not None:
        parts.append(chunk(b"IDAT", png_pixels(still, bits)))
    for i, drawn in enumerate(frames):
        h, w = drawn.pixels.shape[:2]
        place = struct.pack(">IIIII", next(numbers), w, h, drawn.x, drawn.y)
        parts.append(chunk(b"fcTL", place + struct.pack(">HHBB", drawn.delay, 0, drawn.dispose, drawn.blend)))
        data = png_pixels(drawn.pixels, bits)
        if i == 0 and still is None:
            parts.append(chunk(b"IDAT", data))
        else:  # in two pieces, as encoders may
            parts += [chunk(b"fdAT", struct.pack(">I", next(numbers)) + piece) for piece in (data[:9], data[9:])]
    return b"".join(parts) + chunk(b"IEND", b"")


def png_pixels(pixels: Pixels, bits: int) -> bytes:
    rows = pixels.astype(">u2") * 257 if bits == 16 else pixels
    return zlib.compress(b"".join(b"\0" + row.astype(rows.dtype.newbyteorder(">")).tobytes() for row in rows))


# -- composing, one pixel at a time -----------------------------------------------------------------


def composed_gif(frames: list[Drawn]) -> list[Pixels]:
    """GIF89a, 23.c.iv and 23.c.vii. Cleared areas are transparent: what browsers do (common practice)."""
    canvas = np.zeros((SIZE[1], SIZE[0], 4), np.uint8)
    shown = []
    for drawn in frames:
        before = canvas.copy()
        for (r, c), pixel in cells(drawn):
            if pixel[3]:
                canvas[r, c] = pixel
        shown.append(canvas.copy())
        for (r, c), _ in cells(drawn):
            if drawn.dispose == 2:
                canvas[r, c] = 0
            elif drawn.dispose == 3:
                canvas[r, c] = before[r, c]
    return shown


def composed_apng(frames: list[Drawn]) -> list[NDArray[np.float64]]:
    """PNG specification, third edition, 11.3.4.2 (fcTL): dispose_op and blend_op."""
    canvas = np.zeros((SIZE[1], SIZE[0], 4))
    shown = []
    for number, drawn in enumerate(frames):
        before = canvas.copy()
        for (r, c), pixel in cells(drawn):
            canvas[r, c] = over(pixel, canvas[r, c]) if drawn.blend else pixel
        shown.append(canvas.copy())
        dispose = 1 if number == 0 and drawn.dispose == 2 else drawn.dispose
        for (r, c), _ in cells(drawn):
            if dispose:
                canvas[r, c] = 0 if dispose == 1 else before[r, c]
    return shown


def over(front: Pixels, back: NDArray[np.float64]) -> NDArray[np.float64]:
    """PNG specification, 13.16: alpha compositing, without rounding."""
    a, b = front[3] / 255, back[3] / 255
    alpha = a + b * (1 - a)
    if alpha == 0:
        return np.zeros(4)
    return np.array([*((front[:3] * a + back[:3] * b * (1 - a)) / alpha), 255 * alpha])


def cells(drawn: Drawn) -> list[tuple[tuple[int, int], Pixels]]:
    h, w = drawn.pixels.shape[:2]
    return [((drawn.y + r, drawn.x + c), drawn.pixels[r, c]) for r in range(h) for c in range(w)]


# -- strategies -------------------------------------------------------------------------------------


@st.composite
def drawings(draw: st.DrawFn, *, whole_first: bool, palette: bool) -> Drawn:
    w = SIZE[0] if whole_first else draw(st.integers(1, SIZE[0]))
    h = SIZE[1] if whole_first else draw(st.integers(1, SIZE[1]))
    x, y = draw(st.integers(0, SIZE[0] - w)), draw(st.integers(0, SIZE[1] - h))
    dice = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    if palette:
        colours = np.array(PALETTE[:7], np.uint8)[dice.integers(0, 7, (h, w))]
        alpha = dice.choice([0, 255, 255], (h, w, 1)).astype(np.uint8)
    else:
        colours = dice.integers(0, 256, (h, w, 3)).astype(np.uint8)
        alpha = dice.choice([0, 1, 90, 128, 254, 255], (h, w, 1)).astype(np.uint8)
    pixels = np.concatenate([colours, alpha], -1)
    return Drawn(x, y, pixels, draw(st.integers(0, 3 if palette else 2)), draw(st.integers(0, 1)))


def films(palette: bool) -> st.SearchStrategy[list[Drawn]]:
    first = drawings(whole_first=not palette, palette=palette)
    rest = st.lists(drawings(whole_first=False, palette=palette), min_size=1, max_size=6)
    return st.tuples(first, rest).map(lambda both: [both[0], *both[1]])


def alike(got: Image.Image, wanted: NDArray[np.float64] | Pixels, tolerance: float) -> bool:
    """As seen: alpha, and the colours by their weight, for colour under full transparency is not seen."""
    have = np.asarray(got).astype(float)
    weighed = [p[..., :3] * p[..., 3:] / 255 for p in (have, wanted.astype(float))]
    close = np.abs(weighed[0] - weighed[1]).max() <= tolerance
    return got.mode == "RGBA" and close and np.abs(have[..., 3] - wanted[..., 3]).max() <= tolerance


# -- frames -----------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(frames=films(palette=True))
def test_gif_frames_are_composed_as_specified(tmp_path_factory: pytest.TempPathFactory, frames: list[Drawn]) -> None:
    path = tmp_path_factory.mktemp("gif") / "a.gif"
    path.write_bytes(gif(frames))
    with Clip(path, INTAKE, name="a.gif") as clip:
        assert (clip.frames, clip.size) == (len(frames), SIZE)
        assert all(alike(clip.frame(i), want, 0) for i, want in enumerate(composed_gif(frames)))


@settings(deadline=None, max_examples=60)
@given(frames=films(palette=False), bits=st.sampled_from([8, 16]), with_still=st.booleans())
def test_apng_frames_are_composed_as_specified(
    tmp_path_factory: pytest.TempPathFactory, frames: list[Drawn], bits: int, with_still: bool
) -> None:
    path = tmp_path_factory.mktemp("apng") / "a.png"
    still = np.full((SIZE[1], SIZE[0], 4), 77, np.uint8) if with_still else None
    path.write_bytes(apng(frames, still, bits))
    assert stills.probe(path, INTAKE, name="a.png").frames == len(frames)
    with Clip(path, INTAKE, name="a.png") as clip:
        # Each laying-over rounds to 8 bits, so up to one step may be lost a frame.
        assert all(alike(clip.frame(i), want, 1 + i) for i, want in enumerate(composed_apng(frames)))


def test_well_behaved_clips_agree_with_pillows_own_reader(tmp_path: Path) -> None:
    y, x = np.mgrid[0:40, 0:60]
    moves = [np.stack([x * 4, y * 6, x * 0 + 40 * i, 255 - (x < 9) * 255], -1).astype(np.uint8) for i in range(5)]
    pictures = [Image.fromarray(m) for m in moves]
    for name, how in [("a.gif", {"disposal": 2}), ("a.png", {"disposal": 1}), ("a.webp", {"lossless": True})]:
        path = tmp_path / name
        pictures[0].save(path, save_all=True, append_images=pictures[1:], duration=40, **how)
        with Image.open(path) as reference, Clip(path, INTAKE, name=name) as clip:
            assert clip.frames == 5 and clip.durations_ms == (40,) * 5
            for i in range(5):
                reference.seek(i)
                assert alike(clip.frame(i), np.asarray(reference.convert("RGBA")), 0), (name, i)


@pytest.mark.parametrize("name", ["a.gif", "a.png", "a.webp"])
def test_frames_come_in_any_order(tmp_path: Path, name: str) -> None:
    pictures = [Image.new("RGB", (20, 10), (40 * i, 255 - 40 * i, 9)) for i in range(6)]
    how = {"lossless": True} if name == "a.webp" else {}
    pictures[0].save(tmp_path / name, save_all=True, append_images=pictures[1:], duration=50, **how)
    with Clip(tmp_path / name, INTAKE, name=name) as clip:
        for i in (5, 0, 3, 3, 2, 4, 1):
            assert clip.frame(i).getpixel((3, 3)) == (*pictures[i].getpixel((3, 3)), 255)
        with pytest.raises(IndexError):
            clip.frame(6)


def test_a_colour_profile_stays_with_the_frames(tmp_path: Path) -> None:
    pictures = [Image.new("RGB", (20, 10), (40 * i, 9, 9)) for i in range(3)]
    for name, how in [("a.png", {}), ("a.webp", {"lossless": True})]:
        pictures[0].save(tmp_path / name, save_all=True, append_images=pictures[1:], icc_profile=b"kept", **how)
        with Clip(tmp_path / name, INTAKE, name=name) as clip:
            assert all(clip.frame(i).info["icc_profile"] == b"kept" for i in range(3))


def test_only_what_moves_is_a_clip(tmp_path: Path) -> None:
    one = Drawn(0, 0, np.full((5, 7, 4), (255, 0, 0, 255), np.uint8), 0)
    for name, data, moves in [
        ("a.gif", gif([one]), False),
        ("b.gif", gif([one, one]), True),
        ("a.png", apng([one, one]), True),
    ]:
        (tmp_path / name).write_bytes(data)
        found = stills.probe(tmp_path / name, INTAKE, name=name)
        assert is_clip(found) is moves and len(found.durations_ms) == (2 if moves else 0)


# -- faults -----------------------------------------------------------------------------------------

RED = Drawn(0, 0, np.full((5, 7, 4), (255, 0, 0, 255), np.uint8), 0)


@pytest.mark.parametrize("name", ["a.gif", "a.png", "a.webp"])
def test_a_tail_that_breaks_off_is_told_with_what_is_whole(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if name == "a.webp":
        pictures = [Image.effect_noise((64, 64), 90 + i).convert("RGB") for i in range(4)]
        pictures[0].save(path, save_all=True, append_images=pictures[1:], lossless=True)
    else:
        path.write_bytes(gif([RED] * 4) if name == "a.gif" else apng([RED] * 4))
    path.write_bytes(path.read_bytes()[:-20])
    for read in (lambda: stills.probe(path, INTAKE, name=name), lambda: Clip(path, INTAKE, name=name)):
        with pytest.raises(Refused) as caught:
            read()
        (reason,) = caught.value.reasons
        assert (reason.code, reason.file) == ("picture-broken", name)
        assert "breaks off after 3 whole frames" in reason.what


def test_a_gif_without_its_last_byte_or_its_screen_is_still_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.gif"
    path.write_bytes(gif([RED, RED], screen=(0, 0), trailer=b""))
    assert stills.probe(path, INTAKE, name="a.gif").size == SIZE
    with Clip(path, INTAKE, name="a.gif") as clip:
        assert clip.frame(1).getpixel((6, 4)) == (255, 0, 0, 255)


def test_clips_have_caps_of_their_own(tmp_path: Path) -> None:
    path = tmp_path / "a.gif"
    path.write_bytes(gif([RED] * 30))
    for caps, code in [({"clip_mpx": 3e-5}, "picture-too-large"), ({"frames": 29}, "clip-too-long")]:
        intake = INTAKE.model_copy(update={"caps": INTAKE.caps.model_copy(update=caps)})
        with pytest.raises(Refused) as caught:
            stills.probe(path, intake, name="a.gif")
        assert [r.code for r in caught.value.reasons] == [code]
    assert stills.probe(path, INTAKE, name="a.gif").frames == 30


@pytest.mark.parametrize("name", ["a.gif", "a.png", "a.webp"])
def test_garbage_is_shown_or_refused_and_nothing_else(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if name == "a.webp":
        pictures = [Image.effect_noise((24, 16), 30 + i).convert("RGB") for i in range(4)]
        pictures[0].save(path, save_all=True, append_images=pictures[1:])
    else:
        path.write_bytes(gif([RED] * 4) if name == "a.gif" else apng([RED] * 4))
    whole = path.read_bytes()
    refused = 0
    for number in range(200):
        dice = random.Random(number)
        data = bytearray(whole)
        for _ in range(dice.randint(1, 4)):
            data[dice.randrange(len(data))] = dice.randrange(256)
        path.write_bytes(data)
        try:
            stills.probe(path, INTAKE, name=name)
            with Clip(path, INTAKE, name=name) as clip:
                for i in range(clip.frames):
                    assert clip.frame(i).size == clip.size
        except Refused:
            refused += 1
    assert 10 < refused <= 200


# -- time -------------------------------------------------------------------------------------------


def test_delays_too_short_to_mean_it_count_as_a_tenth(tmp_path: Path) -> None:
    # FFmpeg's documentation of its GIF reader: min_gif_delay defaults to 2, default_delay to 10 hundredths.
    frames = [Drawn(0, 0, RED.pixels, 0, delay=d) for d in (0, 1, 2, 7)]
    path = tmp_path / "a.gif"
    path.write_bytes(gif(frames))
    found = stills.probe(path, INTAKE, name="a.gif")
    assert found.durations_ms == (100, 100, 20, 70)
    assert [r.code for r in found.reasons] == ["delays-too-short"]


def test_thirds_of_hundredths_do_not_drift() -> None:
    # APNG counts in fractions: thirty frames of 1/30 s are one second, not 990 ms.
    shown = clip_frames.shown_ms([clip_frames.Cel((0, 0, 1, 1), 1000 / 30)] * 30)
    assert sum(shown) == 1000 and set(shown) == {33, 34}


def test_a_clip_at_its_own_rate_is_left_as_it_is() -> None:
    assert resample((40,) * 25, 25) == tuple(range(25))
    assert resample((30, 40, 30) * 10, 30) == tuple(range(30))  # 30 fps in GIF's hundredths


def test_a_stretch_of_a_clip() -> None:
    assert resample((100,) * 10, 10, start_s=0.2, stop_s=0.5) == (2, 3, 4)
    assert resample((100,) * 10, 10, start_s=0.8) == (8, 9)
    assert resample((100, 900), 2) == (0, 1)  # the short first frame is kept
    with pytest.raises(ValueError, match="nothing to show"):
        resample((100,) * 10, 10, start_s=1.0)
    with pytest.raises(ValueError, match="nothing to show"):
        resample((), 10)


@settings(deadline=None, max_examples=200)
@given(
    durations=st.lists(st.integers(11, 2000), min_size=1, max_size=40),
    fps=st.integers(1, 60),
)
def test_every_beat_shows_the_frame_of_its_middle(durations: list[int], fps: int) -> None:
    shown = resample(durations, fps)
    ends = np.cumsum(durations)
    assert shown[0] == 0 and shown[-1] == len(durations) - 1
    assert list(shown) == sorted(shown)
    beats = sum(durations) * fps / 1000
    assume(beats > 2)
    assert abs(len(shown) - beats) <= 0.5
    for k, index in enumerate(shown[1:-1], 1):
        middle = (2 * k + 1) * 1000  # of 1 / (2 fps) of a millisecond: whole numbers compare exactly
        assert index == next((i for i, end in enumerate(ends) if middle < int(end) * 2 * fps), len(ends) - 1)
