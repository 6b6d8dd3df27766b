"""How EXIF says that a picture is to be turned (CIPA DC-008, tag 274)."""

from __future__ import annotations

from typing import Any

from PIL import ExifTags, Image, ImageFile

from keyturn.normalize.reading import pillow_limits

UPRIGHT = 1


def orientation(image: Image.Image) -> int:
    """Return the turn, from 1 to 8; 1 where EXIF has none or cannot be read."""
    exif = Image.Exif()
    try:
        with pillow_limits.silenced():  # EXIF that is cut short still holds what comes before the cut
            exif.load(image.info.get("exif") or b"")
            turn = exif.get(ExifTags.Base.Orientation, UPRIGHT)
    except Exception:  # garbled EXIF is no reason to lose a sound picture
        return UPRIGHT
    return _known(turn)


def tiff_orientation(image: ImageFile.ImageFile) -> int:
    """Return the turn that a TIFF's own tags ask for. Pillow has already turned `image.size` by it."""
    return _known(image.getexif().get(ExifTags.Base.Orientation, UPRIGHT))


def written(turn: int) -> dict[str | tuple[int, int], Any]:
    """Return an `info` by which `srgb.upright` turns a picture; empty where it is upright."""
    if turn == UPRIGHT:
        return {}
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = turn
    return {"exif": exif.tobytes()}


def _known(turn: Any) -> int:
    return turn if turn in range(1, 9) else UPRIGHT
