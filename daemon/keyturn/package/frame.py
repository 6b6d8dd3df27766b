"""One frame, start to finish, inside one worker call: decoded once, encoded once.

normalize -> flatten -> what is drawn on it -> encode, and on the way the thumbnail for the sheet and the
cells for the eye.
Everything here crosses process borders, so jobs and results are plain values.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.eye import banding, luminance
from keyturn.flatten import figures as glide
from keyturn.flatten import on_panel
from keyturn.flatten.frame_source import Box, Source
from keyturn.flatten.transparency import Colour, flatten
from keyturn.normalize import decode
from keyturn.normalize.fit import Fit, fitted
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.package import crop, jpeg_and_webp, unchanged_png
from keyturn.package.same_file import Recent
from keyturn.png import palette, png_writer
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.reasons import Reason
from keyturn.shop.rulebook import Intake


@dataclass(frozen=True, slots=True)
class Look:
    """How every frame of one radio is to look. `cell_px` is the eye's cell in panel pixels.

    `palette`: frames of few colours may be palette PNG. `trim`: on what ground frames may be cropped.
    """

    fit: Fit
    ground: tuple[int, int, int]
    bits: Literal[16, 24]
    format: Literal["png", "jpeg"]
    cell_px: float
    thumb_px: int
    palette: bool = False
    trim: Literal["none", "black", "any"] = "none"


@dataclass(frozen=True, slots=True)
class FrameJob:
    source: Source
    look: Look
    intake: Intake


@dataclass(frozen=True, slots=True)
class Cropped:
    """`data` is the file of what `cut` leaves of a frame."""

    data: bytes
    cut: crop.Cut


@dataclass(frozen=True, slots=True)
class FrameDone:
    """`data` is the file for the zip, `cells` (rows, cols, 3) uint16 linear light, `thumb` a WebP.

    `plain_bytes`: what the file would take without a palette.
    """

    data: bytes
    plain_bytes: int
    cropped: Cropped | None
    photographic: bool
    digest: str
    thumb: bytes
    cells: NDArray[np.uint16]
    banding_before: float
    banding_after: float
    reasons: tuple[Reason, ...]


_RECENT: Recent[FrameDone] = Recent(2)


def make_frame(job: FrameJob) -> FrameDone:
    """Raises `Refused` where the picture cannot be read, OSError where the shop's disk fails."""
    path = _still_alone(job.source)
    if path is None:
        return _made(job)
    done = _RECENT.once(path, (job.look, job.intake), lambda: _made(job))
    return replace(done, reasons=_named(done.reasons, job.source.name))


def _still_alone(source: Source) -> Path | None:
    """The still that is the whole of the frame; None for frames of clips and those that are drawn."""
    return source.path if source == Source(source.path, source.name) else None


def _made(job: FrameJob) -> FrameDone:
    picture, reasons = panel_picture(job)
    pixels: NDArray[np.uint8] = np.asarray(picture)
    before = after = 0.0
    if job.look.bits == 16:
        shown = banding.dithered(pixels)
        before = banding.banding(pixels, banding.quantised(pixels))
        after = banding.banding(pixels, shown)
        pixels, picture = shown, Image.fromarray(shown, "RGB")
    plain = _file(job, picture)
    return FrameDone(
        data=_smallest(plain, pixels, job.look),
        plain_bytes=len(plain),
        cropped=_cropped(pixels, job.look),
        photographic=png_writer.is_photographic(pixels),
        digest=hashlib.sha256(pixels.data).hexdigest(),
        thumb=jpeg_and_webp.thumbnail(picture, job.look.thumb_px),
        cells=luminance.cells(pixels, job.look.cell_px),
        banding_before=before,
        banding_after=after,
        reasons=reasons,
    )


def _file(job: FrameJob, picture: Image.Image) -> bytes:
    if job.look.format == "jpeg":
        return jpeg_and_webp.jpeg(picture)
    path = _still_alone(job.source) if job.look.bits == 24 else None
    untouched = unchanged_png.untouched(path, picture) if path else None
    return untouched or png_writer.png(picture)


def _smallest(plain: bytes, pixels: NDArray[np.uint8], look: Look) -> bytes:
    few = palette.png(pixels) if look.palette and look.format == "png" else None
    return few if few is not None and len(few) < len(plain) else plain


def _cropped(pixels: NDArray[np.uint8], look: Look) -> Cropped | None:
    cut = crop.cut(pixels) if look.trim != "none" and look.format == "png" else None
    if cut is None or (look.trim == "black" and any(cut.ground)):
        return None
    part = crop.cropped(pixels, cut.box)
    return Cropped(_smallest(png_writer.png(Image.fromarray(part, "RGB")), part, look), cut)


def panel_picture(job: FrameJob) -> tuple[Image.Image, tuple[Reason, ...]]:
    """The source as opaque RGB of the panel's size."""
    source, look = job.source, job.look
    art, reasons = _art(job)
    backdrop = None
    if source.backdrop:
        backdrop, more = panel_picture(replace(job, source=Source(*source.backdrop)))
        reasons += more
    picture = flatten(art, look.ground, backdrop)
    for placed in source.figures:
        picture, more = glide.drawn(picture, placed, job.intake)
        reasons += more
    if source.into:
        other, more = panel_picture(replace(job, source=source.into[0]))
        picture, reasons = _dissolved(picture, other, source.into[1]), reasons + more
    return picture, reasons


def _dissolved(picture: Image.Image, other: Image.Image, share: float) -> Image.Image:
    """A mixture of the sRGB values as they stand: to the eye the steps from dark to light are then even."""
    mixed = picture.copy()
    mixed.paste(other, mask=Image.new("L", picture.size, round(share * 255)))
    return mixed


Made = tuple[Image.Image, tuple[Reason, ...]]


def _art(job: FrameJob) -> Made:
    """The art at the panel's size, see-through where it is so and lies on a backdrop, and what was mended."""
    source, fit = job.source, job.look.fit
    ground = None if source.backdrop else job.look.ground
    if source.path is None:
        return Image.new("RGBA", fit.size), ()
    if source.index is not None:
        return _fitted(_clip(job, source.path).frame(source.index), source.name, fit, ground)
    written = FileIdentity.of(source.path.stat())
    if source.view:
        whole, reasons = _still(source.path, written, source.name, job.intake)
        return _viewed(whole, source.view, fit.size), reasons
    return _fitted_still(source.path, written, source.name, job.intake, fit, ground)


def _viewed(whole: Image.Image, view: Box, size: tuple[int, int]) -> Image.Image:
    """The stretch `view` at `size`, to a fraction of a pixel; see-through colours are weighed by their alpha."""
    left, top, right, bottom = view
    box = (max(left, 0.0), max(top, 0.0), min(right, whole.width), min(bottom, whole.height))
    if whole.mode == "RGBA":
        return whole.convert("RGBa").resize(size, Image.Resampling.LANCZOS, box).convert("RGBA")
    return whole.resize(size, Image.Resampling.LANCZOS, box)


def _upright(raw: Image.Image, name: str) -> Made:
    srgb, reasons = to_srgb(upright(raw))
    return srgb, _named(reasons, name)


def _named(reasons: tuple[Reason, ...], name: str) -> tuple[Reason, ...]:
    return tuple(reason.model_copy(update={"file": name}) for reason in reasons)


@lru_cache(maxsize=4)
def _fitted_still(
    path: Path, written: FileIdentity, name: str, intake: Intake, fit: Fit, ground: Colour | None
) -> Made:
    """Kept, for a backdrop is the same under every frame; `written` tells a file from its successor."""
    return _fitted(decode.still(path, intake, name=name, fit=fit), name, fit, ground)


def _fitted(raw: Image.Image, name: str, fit: Fit, ground: Colour | None) -> Made:
    """On `ground` the short way; without one the art stays see-through."""
    if ground is None:
        art, reasons = _upright(raw, name)
        return fitted(art, fit), reasons
    art, reasons = on_panel.shown(raw, fit, ground)
    return art, _named(reasons, name)


@lru_cache(maxsize=1)
def _still(path: Path, written: FileIdentity, name: str, intake: Intake) -> Made:
    """A whole still, for a pan: every frame is cut from it anew."""
    return _upright(decode.still(path, intake, name=name), name)


_OPEN_CLIPS: OrderedDict[tuple[Path, FileIdentity], Clip] = OrderedDict()
"""Clips this worker has open: frames come in order, so each worker decodes a clip once, not once a frame."""


def _clip(job: FrameJob, path: Path) -> Clip:
    key = (path, FileIdentity.of(path.stat()))
    clip = _OPEN_CLIPS.pop(key, None) or Clip(path, job.intake, name=job.source.name)
    _OPEN_CLIPS[key] = clip
    while len(_OPEN_CLIPS) > 2:
        _OPEN_CLIPS.popitem(last=False)[1].close()
    return clip
