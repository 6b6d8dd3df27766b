"""One frame, start to finish, inside one worker call: decoded once, encoded once.

normalize -> flatten -> encode, and on the way the thumbnail for the sheet and the cells for the eye.
Everything here crosses process borders, so jobs and results are plain values.
"""

from __future__ import annotations

import hashlib
import io
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.eye import banding, handoff, luminance
from keyturn.intake import stills
from keyturn.intake.clips import Clip
from keyturn.reasons import Reason
from keyturn.rulebook import Intake
from keyturn.stages import encode
from keyturn.stages.flatten import flatten
from keyturn.stages.normalize import Fit, fitted, to_srgb, upright


@dataclass(frozen=True, slots=True)
class Source:
    """Where a picture comes from: a still, or frame `index` of a clip. `name` is its path in the drop."""

    path: Path
    name: str
    index: int | None = None


@dataclass(frozen=True, slots=True)
class Look:
    """How every frame of one radio is to look. `cell_px` is the eye's cell in panel pixels."""

    fit: Fit
    ground: tuple[int, int, int]
    bits: Literal[16, 24]
    format: Literal["png", "jpeg"]
    cell_px: float
    thumb_px: int


@dataclass(frozen=True, slots=True)
class FrameJob:
    source: Source
    look: Look
    intake: Intake


@dataclass(frozen=True, slots=True)
class FrameDone:
    """`data` is the file for the zip, `cells` (rows, cols, 3) uint16 linear light, `thumb` a WebP."""

    data: bytes
    digest: str
    thumb: bytes
    cells: NDArray[np.uint16]
    banding_before: float
    banding_after: float
    reasons: tuple[Reason, ...]


def make_frame(job: FrameJob) -> FrameDone:
    """Raises `Refused` where the picture cannot be read, OSError where the shop's disk fails."""
    picture, reasons = panel_picture(job)
    pixels: NDArray[np.uint8] = np.asarray(picture)
    before = after = 0.0
    if job.look.bits == 16:
        shown = banding.dithered(pixels)
        before = banding.banding(pixels, banding.quantised(pixels))
        after = banding.banding(pixels, shown)
        pixels, picture = shown, Image.fromarray(shown, "RGB")
    data = encode.png(picture) if job.look.format == "png" else encode.jpeg(picture)
    return FrameDone(
        data=data,
        digest=hashlib.sha256(pixels.tobytes()).hexdigest(),
        thumb=encode.thumbnail(picture, job.look.thumb_px),
        cells=luminance.cells(pixels, job.look.cell_px),
        banding_before=before,
        banding_after=after,
        reasons=reasons,
    )


def panel_picture(job: FrameJob) -> tuple[Image.Image, tuple[Reason, ...]]:
    """The source as opaque RGB of the panel's size."""
    raw = _read(job)
    srgb, reasons = to_srgb(upright(raw))
    named = tuple(reason.model_copy(update={"file": job.source.name}) for reason in reasons)
    return flatten(fitted(srgb, job.look.fit), job.look.ground), named


def _read(job: FrameJob) -> Image.Image:
    if job.source.index is None:
        return stills.load(job.source.path, job.intake, name=job.source.name, target=job.look.fit.size)
    return _clip(job).frame(job.source.index)


_OPEN_CLIPS: OrderedDict[tuple[Path, int], Clip] = OrderedDict()
"""Clips this worker has open: frames come in order, so each worker decodes a clip once, not once a frame."""


def _clip(job: FrameJob) -> Clip:
    key = (job.source.path, job.source.path.stat().st_mtime_ns)
    clip = _OPEN_CLIPS.pop(key, None) or Clip(job.source.path, job.intake, name=job.source.name)
    _OPEN_CLIPS[key] = clip
    while len(_OPEN_CLIPS) > 2:
        _OPEN_CLIPS.popitem(last=False)[1].close()
    return clip


@dataclass(frozen=True, slots=True)
class Check:
    """A picture to be read to its end and thrown away."""

    source: Source
    intake: Intake


def check(job: Check) -> None:
    """Raises `Refused` where the picture cannot be read."""
    stills.load(job.source.path, job.intake, name=job.source.name)


@dataclass(frozen=True, slots=True)
class Compare:
    """Two encoded pictures of one size."""

    a: bytes
    b: bytes
    thumb_px: int


@dataclass(frozen=True, slots=True)
class Compared:
    share_changed: float
    mean_difference: float
    picture: bytes


def compare(job: Compare) -> Compared:
    """How far the logo and frame 1 differ, and a picture of where."""
    a, b = (np.asarray(Image.open(io.BytesIO(data)).convert("RGB")) for data in (job.a, job.b))
    found = handoff.difference(a, b)
    picture = Image.fromarray(handoff.difference_picture(a, b))
    return Compared(
        share_changed=found.share_changed,
        mean_difference=found.mean_difference,
        picture=encode.thumbnail(picture, job.thumb_px),
    )


def small(job: Check) -> bytes:
    """A small WebP of a picture as it is, for the rejects page."""
    picture, _ = to_srgb(upright(stills.load(job.source.path, job.intake, name=job.source.name)))
    return encode.thumbnail(flatten(picture, (128, 128, 128)), 240)
