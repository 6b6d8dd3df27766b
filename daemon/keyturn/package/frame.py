"""One frame from its source to its file, inside one worker call.

normalize -> flatten -> figures drawn on it -> encode. The call also returns the thumbnail for the sheet and the cells
for the checks. A picture is decoded once and encoded once. Jobs and results cross process borders, so they are plain
values.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.eye import banding, luminance
from keyturn.flatten import figures, on_panel
from keyturn.flatten.frame_source import Box, Source
from keyturn.flatten.transparency import Colour, flatten
from keyturn.normalize import decode
from keyturn.normalize.fit import Fit, fitted
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.package import bmp_writer, crop, jpeg_and_webp, open_clips, unchanged_png
from keyturn.package.player_patch import PatchDone, PatchJob, beside, small
from keyturn.package.same_file import Recent
from keyturn.png import palette, png_writer
from keyturn.shop.bmp_layout import BmpLayout
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.reasons import Reason, Refused
from keyturn.shop.rulebook import Intake


@dataclass(frozen=True, slots=True)
class Look:
    """How every frame of one radio is to look.

    `ground` is the background in 8-bit sRGB, `bits` the panel's colour depth, `cell_px` the side of a cell of the
    flash check in panel pixels, `thumb_px` the longer side of a thumbnail. With `palette`, frames of few colours may
    be palette PNG. `trim` says on which grounds frames may be cropped. `bmp` is how a BMP is written.
    """

    fit: Fit
    ground: tuple[int, int, int]
    bits: Literal[16, 24]
    format: Literal["png", "jpeg", "bmp"]
    cell_px: float
    thumb_px: int
    palette: bool = False
    trim: Literal["none", "black", "any"] = "none"
    bmp: BmpLayout | None = None


@dataclass(frozen=True, slots=True)
class FrameJob:
    """One frame to make. `beside` are the looks in which other radios of the job show the same source.

    With `patch` the player's picture of a PNG frame is made with it.
    """

    source: Source
    look: Look
    intake: Intake
    beside: tuple[Look, ...] = ()
    patch: PatchJob | None = None


@dataclass(frozen=True, slots=True)
class Cropped:
    """A cropped frame: `data` is the file of the pixels inside `cut`."""

    data: bytes
    cut: crop.Cut


@dataclass(frozen=True, slots=True)
class FrameDone:
    """A made frame.

    `data` is the file for the zip, `plain_bytes` the size of that file without a palette, `digest` the BLAKE3 of the
    pixels, `thumb` a WebP, `cells` (rows, columns, 3) uint16 in linear light. Banding is 0 on 24-bit panels.
    `patch` is the player's picture, where the job asks for one and its base can be read.
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
    patch: PatchDone | None = None


_RECENT: Recent[FrameDone] = Recent(8)


def make_frame(job: FrameJob) -> FrameDone:
    """Return the made frame. Raise `Refused` where a picture cannot be read, OSError where the shop's disk fails."""
    path = job.source.still
    if path is None:
        return _made(job)
    done = _RECENT.once(path, (job.look, job.intake, job.patch), lambda: _made(job))
    return replace(done, reasons=_named(done.reasons, job.source.name))


def _made(job: FrameJob) -> FrameDone:
    drawn, reasons = panel_picture(job)
    picture = _in_panel_colours(drawn, job.look)
    pixels: NDArray[np.uint8] = np.asarray(picture)
    before = after = 0.0
    if job.look.bits == 16:
        meant: NDArray[np.uint8] = np.asarray(drawn)
        before = banding.banding(meant, banding.quantised(meant))
        after = banding.banding(meant, pixels)
    plain = _file(job, picture, pixels)
    return FrameDone(
        data=_smallest(plain, pixels, job.look),
        plain_bytes=len(plain),
        cropped=_cropped(pixels, job.look),
        photographic=png_writer.is_photographic(pixels),
        digest=_digest(pixels),
        thumb=jpeg_and_webp.thumbnail(picture, job.look.thumb_px),
        cells=luminance.cells(pixels, job.look.cell_px),
        banding_before=before,
        banding_after=after,
        reasons=reasons,
        patch=_patch(job, picture),
    )


def _in_panel_colours(picture: Image.Image, look: Look) -> Image.Image:
    """Return the picture in the colours that the panel has."""
    return Image.fromarray(banding.dithered(np.asarray(picture)), "RGB") if look.bits == 16 else picture


def _patch(job: FrameJob, picture: Image.Image) -> PatchDone | None:
    """Return the player's picture; None where it is not asked for, or its base cannot be read."""
    asked = job.patch
    if asked is None or job.look.format != "png":  # of a JPEG the player shows what is left of the picture
        return None
    try:
        base, digest = _base(replace(job, source=asked.base, beside=(), patch=None), asked.short_side)
    except Refused:
        return None
    done = beside(small(picture, asked.short_side), base, asked.quality)
    return PatchDone(digest, asked.short_side, asked.quality, done)


@lru_cache(maxsize=8)
def _base(job: FrameJob, short_side: int) -> tuple[Image.Image, str]:
    """Return a part's first picture as small as the player shows it, and the digest of its pixels.

    Each worker makes it once for all pictures of the part, and for a few radios.
    """
    picture = _in_panel_colours(panel_picture(job)[0], job.look)
    return small(picture, short_side), _digest(np.asarray(picture))


def _digest(pixels: NDArray[np.uint8]) -> str:
    from blake3 import blake3

    return blake3(pixels.data).hexdigest()


def _file(job: FrameJob, picture: Image.Image, pixels: NDArray[np.uint8]) -> bytes:
    if job.look.bmp:
        return bmp_writer.bmp(pixels, job.look.bmp)
    if job.look.format == "jpeg":
        return jpeg_and_webp.jpeg(picture)
    path = job.source.still if job.look.bits == 24 else None
    untouched = unchanged_png.untouched(path, picture) if path else None
    return untouched or png_writer.png_of_pixels(pixels)


def _smallest(plain: bytes, pixels: NDArray[np.uint8], look: Look) -> bytes:
    few = palette.png(pixels) if look.palette and look.format == "png" else None
    return few if few is not None and len(few) < len(plain) else plain


def _cropped(pixels: NDArray[np.uint8], look: Look) -> Cropped | None:
    cut = crop.cut(pixels) if look.trim != "none" and look.format == "png" else None
    if cut is None or (look.trim == "black" and any(cut.ground)):
        return None
    part = crop.cropped(pixels, cut.box)
    return Cropped(_smallest(png_writer.png_of_pixels(part), part, look), cut)


def panel_picture(job: FrameJob) -> tuple[Image.Image, tuple[Reason, ...]]:
    """Return the source as opaque RGB of the panel's size, and what was mended."""
    source, look = job.source, job.look
    art, reasons = _art(job)
    backdrop = None
    if source.backdrop:
        backdrop, more = panel_picture(replace(job, source=Source(*source.backdrop)))
        reasons += more
    picture = flatten(art, look.ground, backdrop)
    for placed in source.figures:
        picture, more = figures.drawn(picture, placed, job.intake)
        reasons += more
    if source.into:
        other, more = panel_picture(replace(job, source=source.into[0]))
        picture, reasons = _dissolved(picture, other, source.into[1]), reasons + more
    return picture, reasons


def _dissolved(picture: Image.Image, other: Image.Image, share: float) -> Image.Image:
    """Mix the sRGB values without making them linear, which the eye sees as even steps from dark to light."""
    mixed = picture.copy()
    mixed.paste(other, mask=Image.new("L", picture.size, round(share * 255)))
    return mixed


Made = tuple[Image.Image, tuple[Reason, ...]]


def _art(job: FrameJob) -> Made:
    """Return the art at the panel's size and what was mended. Over a backdrop the art stays see-through."""
    source, fit = job.source, job.look.fit
    ground = None if source.backdrop else job.look.ground
    if source.path is None:
        return Image.new("RGBA", fit.size), ()
    if source.index is not None:
        clip, index = open_clips.clip(source.path, job.intake, name=source.name), source.index
        return _fitted(decode.once((source.path, index), lambda: clip.frame(index)), source.name, fit, ground)
    written = FileIdentity.of(source.path.stat())
    if source.cell:
        whole, reasons = _still(source.path, written, source.name, job.intake)
        return fitted(whole.crop(source.cell), fit), reasons
    if source.view:
        whole, reasons = _still(source.path, written, source.name, job.intake)
        return _viewed(whole, source.view, fit.size), reasons
    return _fitted_still(source.path, written, source.name, job.intake, fit, ground)


def _viewed(whole: Image.Image, view: Box, size: tuple[int, int]) -> Image.Image:
    """Return the stretch `view` at `size`, exact to a fraction of a pixel. Alpha weighs see-through colours."""
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
    """Return a still fitted to the panel. The last few are kept, since a backdrop lies under every frame.

    `written` is part of the key, so that a changed file is read again.
    """
    return _fitted(decode.still(path, intake, name=name, fit=fit), name, fit, ground)


def _fitted(raw: Image.Image, name: str, fit: Fit, ground: Colour | None) -> Made:
    """Return the art at the panel's size: laid on `ground`, or see-through where that is None."""
    if ground is None:
        seen_through, mended = _upright(raw, name)
        return fitted(seen_through, fit), mended
    reasons: tuple[Reason, ...] = ()
    if decode.is_shared() and raw.mode == "RGB" and "icc_profile" in raw.info and not raw.has_transparency_data:
        raw, reasons = decode.once(("sRGB", id(raw)), lambda: to_srgb(upright(raw)))  # each pixel by itself
    art, more = on_panel.shown(raw, fit, ground)
    return art, _named((*reasons, *more), name)


@lru_cache(maxsize=1)
def _still(path: Path, written: FileIdentity, name: str, intake: Intake) -> Made:
    """Return a whole still. The last one is kept, since every frame of a pan or a sheet is cut from it."""
    return _upright(decode.still(path, intake, name=name), name)
