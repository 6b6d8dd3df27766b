"""The small picture by which people know a job on the board: the one that stays on the screen."""

from __future__ import annotations

import base64
import io
from itertools import chain

from PIL import Image

from keyturn.shop.records import ProofRecord, RadioProof

FILE_NAME = "held.webp"
SIZE_PX = (96, 96)
"""Largest width and height. The board shows it half as large, for fine screens."""

QUALITY = 60
"""Of WebP: about 1 to 2 KB a picture."""


def held_picture(proof: ProofRecord) -> bytes:
    """Return the last picture of the job's first radio as a small WebP; the middle one where the last is the logo."""
    radio = proof.radios[0]
    with Image.open(io.BytesIO(base64.b64decode(_told_apart(radio).partition(",")[2]))) as opened:
        picture = opened.convert("RGB")
    picture.thumbnail(SIZE_PX, Image.Resampling.LANCZOS)
    file = io.BytesIO()
    picture.save(file, "WEBP", quality=QUALITY, method=6)
    return file.getvalue()


def _told_apart(radio: RadioProof) -> str:
    shown = [radio.frames[number] for number in chain.from_iterable(radio.order)]
    if not shown:
        return radio.logo
    return shown[-1] if shown[-1] != radio.logo else shown[len(shown) // 2]
