"""Single pictures in a worker: read to the end, made small for the rejects page, or compared with another."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image

from keyturn.eye import handoff
from keyturn.flatten.frame_source import Source
from keyturn.flatten.transparency import flatten
from keyturn.normalize import decode
from keyturn.normalize.reading import stills
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.package import jpeg_and_webp
from keyturn.shop.records import HandoffRecord
from keyturn.shop.rulebook import Intake


@dataclass(frozen=True, slots=True)
class Check:
    """One picture to be read."""

    source: Source
    intake: Intake


def check(job: Check) -> None:
    """Read the picture to its end. Raise `Refused` where that fails."""
    _loaded(job)


def check_undamaged(job: Check) -> None:
    """Check that the picture came whole, see `decode.check_undamaged`. Raise `Refused` where it did not."""
    assert job.source.path, "a picture to be checked is a file"
    decode.check_undamaged(job.source.path, job.intake, name=job.source.name)


def _loaded(job: Check) -> Image.Image:
    assert job.source.path, "a picture to be checked is a file"
    return stills.load(job.source.path, job.intake, name=job.source.name)


@dataclass(frozen=True, slots=True)
class Compare:
    """Two encoded pictures of one size, and the longer side of the picture of their difference in pixels."""

    a: bytes
    b: bytes
    thumb_px: int


def compare(job: Compare) -> tuple[HandoffRecord, bytes]:
    """Return how far the logo and frame 1 differ, and a small WebP of where."""
    a, b = (np.asarray(Image.open(io.BytesIO(data)).convert("RGB")) for data in (job.a, job.b))
    distance = handoff.colour_distance(a, b)
    picture = Image.fromarray(handoff.difference_picture(a, distance))
    return handoff.difference(distance), jpeg_and_webp.thumbnail(picture, job.thumb_px)


def small(job: Check) -> bytes:
    """Return a small WebP of the picture for the rejects page, on grey where it is see-through."""
    picture, _ = to_srgb(upright(_loaded(job)))
    return jpeg_and_webp.thumbnail(flatten(picture, (128, 128, 128)), 240)
