"""Frames made together for several radios are to the byte those that are made one by one."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms

from keyturn.flatten.frame_source import Source
from keyturn.normalize import decode
from keyturn.normalize.fit import Fit
from keyturn.package import frame, frames_together
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.package.frames_together import jobs_beside, make_frames, with_looks_beside
from keyturn.pipeline import Bench, understand
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from samples import Drop

INTAKE = rulebook.load().intake
LOOKS = tuple(
    Look(Fit(size, mode), (11, 29, 42), bits, kind, 4.0, 32, palette=palette, trim="any")
    for size, mode, bits, kind, palette in (
        ((96, 128), "cover", 24, "png", False),
        ((80, 48), "cover", 24, "png", True),
        ((102, 60), "contain", 16, "png", False),
        ((30, 40), "cover", 24, "jpeg", False),
        ((300, 400), "cover", 24, "png", False),
    )
)


def scene(mode: str = "RGB", size: tuple[int, int] = (330, 280)) -> Image.Image:
    dice = np.random.default_rng(7)
    small = Image.fromarray(dice.integers(0, 255, (9, 11, 3), np.uint8))
    made = small.resize(size, Image.Resampling.BICUBIC)
    if mode == "RGBA":
        made.putalpha(Image.fromarray(dice.integers(0, 255, (9, 11), np.uint8)).resize(size))
        return made
    return made.convert(mode)


def wide_profile() -> bytes:
    """sRGB's matrix profile with red and blue exchanged: it changes every colour."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = int.from_bytes(data[128:132], "big")
    tags = {bytes(data[132 + 12 * i : 136 + 12 * i]): 136 + 12 * i for i in range(count)}
    red, blue = tags[b"rXYZ"], tags[b"bXYZ"]
    data[red : red + 8], data[blue : blue + 8] = data[blue : blue + 8], data[red : red + 8]
    return bytes(data)


def turned() -> bytes:
    exif = Image.Exif()
    exif[274] = 6
    return exif.tobytes()


ART: dict[str, Callable[[Path], None]] = {
    "png": lambda path: scene().save(path, "PNG"),
    "see-through png": lambda path: scene("RGBA").save(path, "PNG"),
    "palette png": lambda path: scene("P").save(path, "PNG"),
    "large jpeg": lambda path: scene(size=(2000, 1600)).save(path, "JPEG"),
    "turned jpeg": lambda path: scene(size=(900, 700)).save(path, "JPEG", exif=turned()),
    "jpeg with a profile": lambda path: scene(size=(900, 700)).save(path, "JPEG", icc_profile=wide_profile()),
    "turned jpeg with a profile": lambda path: scene(size=(900, 700)).save(
        path, "JPEG", icc_profile=wide_profile(), exif=turned()
    ),
    "see-through png with a profile": lambda path: scene("RGBA").save(path, "PNG", icc_profile=wide_profile()),
    "cmyk jpeg": lambda path: scene("CMYK").save(path, "JPEG"),
    "grey tiff": lambda path: scene("L").save(path, "TIFF"),
    "gif": lambda path: scene("P").save(path, "GIF", save_all=True, append_images=[scene("L").convert("P")]),
}


def put(folder: Path, kind: str) -> Path:
    path = folder / "art.bin"
    ART[kind](path)
    os.utime(path, (time.time() - 100,) * 2)
    return path


def same(a: Any, b: Any) -> bool:
    return bool(np.array_equal(a.cells, b.cells)) and replace(a, cells=b.cells) == b


@pytest.mark.parametrize("kind", ART)
def test_each_frame_is_the_one_made_alone(tmp_path: Path, kind: str) -> None:
    path = put(tmp_path, kind)
    source = Source(path, "art.bin", index=1 if kind == "gif" else None)
    job = FrameJob(source, LOOKS[0], INTAKE, LOOKS[1:])
    alone = [make_frame(one) for one in (replace(job, beside=()), *jobs_beside(job))]
    for forget in (frame._fitted_still, frame._still):
        forget.cache_clear()
    frame._RECENT._kept.clear()
    together = make_frames((job, *jobs_beside(job)))
    assert all(same(a, b) for a, b in zip(together, alone, strict=True))


@pytest.mark.parametrize("kind", ["png", "turned jpeg with a profile"])
def test_the_picture_is_decoded_once(tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    decoded: list[object] = []
    real = decode._decoded
    monkeypatch.setattr(decode, "_decoded", lambda *given: decoded.append(given) or real(*given))
    look = LOOKS[0]
    job = FrameJob(Source(put(tmp_path, kind), "art.bin"), look, INTAKE, (replace(look, ground=(0, 0, 0)),))
    make_frames((job, *jobs_beside(job)))
    assert len(decoded) == 1
    assert not decode.is_shared()


def test_what_is_shared_is_forgotten_after_a_picture_that_cannot_be_read(tmp_path: Path) -> None:
    path = put(tmp_path, "png")
    path.write_bytes(path.read_bytes()[:100])
    job = FrameJob(Source(path, "art.bin"), LOOKS[0], INTAKE, LOOKS[1:])
    with pytest.raises(Refused):
        make_frames((job, *jobs_beside(job)))
    assert not decode.is_shared()


def test_a_look_that_fails_or_comes_too_late_is_left_to_its_own_radio(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = FrameJob(Source(put(tmp_path, "png"), "art.bin"), LOOKS[0], INTAKE, LOOKS[1:3])

    def fails_second(one: FrameJob) -> Any:
        if one.look == LOOKS[1]:
            raise Refused([])
        return make_frame(one)

    monkeypatch.setattr(frames_together, "make_frame", fails_second)
    first, second, third = make_frames((job, *jobs_beside(job)))
    assert first and third and second is None
    monkeypatch.setattr(frames_together, "BUDGET_S", 0.0)
    assert make_frames((job, *jobs_beside(job)))[1:] == (None, None)


def test_looks_go_beside_those_of_earlier_radios_as_far_as_there_is_room(
    bench: Bench, drop: Drop, tmp_path: Path
) -> None:
    art = drop(frames=4, manifest='customer = "Fern Hollow"\nradio = ["tiny", "tiny-wide"]\n')
    tiny = bench.rules.radios["tiny"]
    wide = tiny.model_copy(update={"name": "tiny-wide", "panel": tiny.panel.model_copy(update={"width": 40})})
    rules = bench.rules.model_copy(update={"radios": {**bench.rules.radios, "tiny-wide": wide}})
    job = understand(art, "van", tmp_path, replace(bench, rules=rules))
    radio_jobs = [
        frames_together.RadioJob(plan, job.manifest, rules, tmp_path, tmp_path, None, 8)  # type: ignore[arg-type]
        for plan in job.plans
    ]
    first, second = with_looks_beside(radio_jobs, 2**30)
    assert set(first.beside.values()) == {(second.look(),)}
    assert set(second.beside.values()) == {()}
    assert first.frame(next(iter(first.beside))).beside == (second.look(),)
    little = 3 * int(frames_together.BYTES_A_PIXEL * 40 * 64)
    beside = with_looks_beside(radio_jobs, little)[0].beside
    assert sum(map(len, beside.values())) == 3
