"""Frames by themselves, as one worker of several asks for them: what is left out must not be seen.

Checked against the formats' rules as `test_clips` writes them down (GIF89a; PNG specification, third edition), and
against FFmpeg's and Pillow's readers in `test_clip_references`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from keyturn.normalize.reading import clips
from keyturn.normalize.reading.clips import Clip
from normalize.reading.test_clips import (
    INTAKE,
    PALETTE,
    SIZE,
    Drawn,
    alike,
    apng,
    composed_apng,
    composed_gif,
    drawings,
    gif,
)

HOW_MANY = 8


def many(palette: bool) -> st.SearchStrategy[list[Drawn]]:
    """Cels of which many cover the canvas."""
    whole, part = (drawings(whole_first=w, palette=palette) for w in (True, False))
    return st.tuples(whole, st.lists(st.one_of(whole, part), min_size=1, max_size=6)).map(lambda x: [x[0], *x[1]])


def opaque(data: bytes) -> bytes:
    """The GIF with the mark for a transparent colour taken from each cel's control block (GIF89a, 23)."""
    head, *rest = data.split(b"!\xf9\x04")
    return head + b"".join(b"!\xf9\x04" + bytes([part[0] & ~1]) + part[1:] for part in rest)


@settings(deadline=None, max_examples=60)
@given(frames=many(palette=False), step=st.integers(1, 4))
def test_apng_frames_by_themselves(tmp_path_factory: pytest.TempPathFactory, frames: list[Drawn], step: int) -> None:
    path = tmp_path_factory.mktemp("apng") / "a.png"
    path.write_bytes(apng(frames))
    wanted = composed_apng(frames)
    with Clip(path, INTAKE, name="a.png") as clip:
        assert all(alike(clip.frame(i), wanted[i], 1 + i) for i in range(0, len(frames), step))


@settings(deadline=None, max_examples=60)
@given(frames=many(palette=True), step=st.integers(1, 4), solid=st.booleans())
def test_gif_frames_by_themselves(
    tmp_path_factory: pytest.TempPathFactory, frames: list[Drawn], step: int, solid: bool
) -> None:
    """`solid`: without a transparent colour, index 7 is shown like any other."""
    path = tmp_path_factory.mktemp("gif") / "a.gif"
    path.write_bytes(opaque(gif(frames)) if solid else gif(frames))
    wanted = composed_gif([shown_solid(f) for f in frames] if solid else frames)
    with Clip(path, INTAKE, name="a.gif") as clip:
        assert all(alike(clip.frame(i), wanted[i], 0) for i in range(0, len(frames), step))


def shown_solid(drawn: Drawn) -> Drawn:
    pixels = drawn.pixels.copy()
    pixels[pixels[..., 3] == 0, :3] = PALETTE[7]
    pixels[..., 3] = 255
    return Drawn(drawn.x, drawn.y, pixels, drawn.dispose, drawn.blend, drawn.delay)


@pytest.mark.parametrize(("dispose", "decoded"), [(0, 1), (1, 1), (2, 1), (3, HOW_MANY)])
def test_where_each_cel_hides_the_last_only_the_frames_own_is_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dispose: int, decoded: int
) -> None:
    """But for cels after which what was there before comes back (GIF89a, disposal 3)."""
    colours = np.array(PALETTE, np.uint8)
    cels = [np.full((SIZE[1], SIZE[0], 4), 255, np.uint8) for _ in range(HOW_MANY)]
    for number, pixels in enumerate(cels):
        pixels[..., :3] = colours[number % 7]
    path = tmp_path / "a.gif"
    path.write_bytes(opaque(gif([Drawn(0, 0, pixels, dispose) for pixels in cels])))
    calls: list[object] = []
    real = clips._CelComposer._decoded
    monkeypatch.setattr(clips._CelComposer, "_decoded", lambda self, cel: (calls.append(cel), real(self, cel))[1])
    with Clip(path, INTAKE, name="a.gif") as clip, Image.open(path) as reference:
        shown = clip.frame(HOW_MANY - 1)
        reference.seek(HOW_MANY - 1)
        assert alike(shown, np.asarray(reference.convert("RGBA")), 0), "Pillow's own reader"
    assert len(calls) == decoded
