"""Thumbnails of a few pictures of a part, made in one worker call: enough to see where things move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.flatten.frame_source import Source
from keyturn.flatten.transparency import Colour, flatten
from keyturn.normalize import decode
from keyturn.normalize.fit import Fit
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop.rulebook import Intake

PX = 64
"""The longer side of a thumbnail, in pixels."""

_SOLID = ("L", "RGB", "CMYK")


@dataclass(frozen=True, slots=True)
class ThumbnailJob:
    """Stills, or pictures of one clip in their order. Of each source its file and its place in the clip are used."""

    sources: tuple[Source, ...]
    ground: Colour
    intake: Intake


def make_thumbnails(job: ThumbnailJob) -> tuple[NDArray[np.uint8], ...]:
    """Return thumbnails of the whole pictures, uncropped, in sRGB (H, W, 3) on the job's ground.

    Raise `Refused` where one cannot be read, `OSError` where the shop's disk fails.
    """
    return tuple(np.asarray(_thumbnail(raw, job.ground)) for raw in _pictures(job))


def _pictures(job: ThumbnailJob) -> Iterator[Image.Image]:
    first = job.sources[0]
    assert first.path, "what is looked at is a file"
    if first.index is not None:
        with Clip(first.path, job.intake, first.name) as clip:
            yield from (clip.frame(source.index or 0) for source in job.sources)
        return
    for source in job.sources:
        if source.path:
            yield decode.still(source.path, job.intake, name=source.name, fit=Fit((PX, PX)))


def _thumbnail(raw: Image.Image, ground: Colour) -> Image.Image:
    """Make a thumbnail by averaging whole squares of sRGB values; to find movement, exact light is not needed."""
    picture = upright(raw)
    share = min(1.0, PX / max(picture.size))
    size = max(1, round(picture.width * share)), max(1, round(picture.height * share))
    if picture.mode in _SOLID and not picture.has_transparency_data:
        small = picture.resize(size, Image.Resampling.BOX)
        small.info = picture.info
        return flatten(to_srgb(small)[0], ground)
    return flatten(to_srgb(picture)[0], ground).resize(size, Image.Resampling.BOX)
