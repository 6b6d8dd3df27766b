"""Animations that could never fit are refused after a few frames, with every picture that cannot be read."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from keyturn.commands import make_by_hand
from keyturn.package.first_frames import FIRST
from keyturn.package.frame import make_frame
from keyturn.pipeline import Bench
from keyturn.shop.reasons import Kind, Reason, Refused
from keyturn.workers.crew import InlineCrew
from samples import Drop

COUNT = 4 * FIRST


class Counting(InlineCrew):
    """A crew that notes the sources of the frames it makes."""

    def __init__(self) -> None:
        self.made: list[str] = []

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        for job in jobs:
            if task is make_frame:
                self.made.append(names(job))
            yield from super().run(task, [job], names)


def noisy(root: Path, width: int = 48) -> Path:
    """Turn the pictures of a drop to noise, of which the left `width` columns stay."""
    for number, path in enumerate(sorted((root / "lamps").iterdir())):
        pixels = np.zeros((64, 48, 3), np.uint8)
        pixels[:, :width] = np.random.default_rng(number).integers(0, 256, (64, width, 3))
        Image.fromarray(pixels).save(path)
    return root


def limited(bench: Bench, kib: float, formats: tuple[str, ...] = ("png",)) -> tuple[Bench, Counting]:
    """Return the bench with a radio "tiny" that takes so much, and the crew that counts."""
    radio = bench.rules.radios["tiny"]
    changes = {
        "limits": radio.limits.model_copy(update={"zip_mib": kib / 1024}),
        "firmware": radio.firmware.model_copy(update={"frame_formats": formats}),
    }
    rules = bench.rules.model_copy(update={"radios": {"tiny": radio.model_copy(update=changes)}})
    return replace(bench, rules=rules, crew=(crew := Counting())), crew


def refusals(root: Path, bench: Bench) -> list[Reason]:
    with pytest.raises(Refused) as caught:
        make_by_hand.check(root, bench)
    return [reason for reason in caught.value.reasons if reason.kind is Kind.REFUSE]


def test_what_could_never_fit_is_refused_after_a_few_frames(drop: Drop, bench: Bench) -> None:
    """Noise does not compress: a frame is its 9 KiB of pixels and little more."""
    few, crew = limited(bench, 9 * COUNT / 4)
    (reason,) = refusals(noisy(drop(frames=COUNT)), few)
    assert reason.code == "zip-too-large" and "would be about" in reason.what
    assert "about 7 of its 33 frames fit" in reason.mend or "about 8 of its 33 frames fit" in reason.mend
    assert len(crew.made) == FIRST


def test_every_picture_that_cannot_be_read_is_told_with_it(drop: Drop, bench: Bench) -> None:
    root = noisy(drop(frames=COUNT))
    for name in ("0001.png", "0006.png", "0032.png"):
        data = bytearray((root / "lamps" / name).read_bytes())
        data[data.index(b"IDAT") + 12] ^= 0xFF  # found when it is decoded, not when its header is read
        (root / "lamps" / name).write_bytes(data)
    found = refusals(root, limited(bench, 9 * COUNT / 4)[0])
    assert sorted(r.file for r in found if r.file) == ["lamps/0001.png", "lamps/0006.png", "lamps/0032.png"]
    assert len(found) == 4


@pytest.mark.parametrize(("share", "more"), [(0.5, ""), (0.25, "[motion]\nthin = true\n")])
def test_where_it_may_fit_after_all_every_frame_is_made_once(drop: Drop, bench: Bench, share: float, more: str) -> None:
    manifest = f'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n{more}'
    few, crew = limited(bench, 9 * COUNT * share)
    root = noisy(drop(frames=COUNT, manifest=manifest))
    if more:
        make_by_hand.check(root, few)
    else:
        assert "would be" not in refusals(root, few)[0].what
    assert len(set(crew.made)) == COUNT and len(crew.made) == COUNT + 1, "and the logo, which is frame 1"


def test_a_radio_of_jpeg_is_judged_by_jpeg(drop: Drop, bench: Bench) -> None:
    """JPEG of quality 80 has less than half the bytes of noise as PNG."""
    few, crew = limited(bench, 9 * COUNT / 4, ("png", "jpeg"))
    refusals(noisy(drop(frames=COUNT)), few)
    assert len(crew.made) > FIRST
    hopeless, crew = limited(bench, 9 * COUNT / 20, ("png", "jpeg"))
    refusals(noisy(drop("boat", frames=COUNT)), hopeless)
    assert len(crew.made) == FIRST


def test_the_frames_keep_their_order(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """Those made first are not packed first. Pillow reads both sides."""
    root = noisy(drop(frames=COUNT), width=2)
    made = make_by_hand.make(root, tmp_path / "out", bench)
    assert made.folder is not None
    with zipfile.ZipFile(made.folder / "usb" / "bootanimation.zip") as pack:
        frames = [np.asarray(Image.open(pack.open(f"part0/{n:04d}.png"))) for n in range(1, COUNT + 1)]
    drawn = [np.asarray(Image.open(path)) for path in sorted((root / "lamps").iterdir())]
    assert all(map(np.array_equal, frames, drawn))
