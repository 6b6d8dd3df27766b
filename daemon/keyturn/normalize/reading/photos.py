"""HEIC photographs, the format of many phones, through pillow-heif (libheif and libde265).

The container itself says how such a picture is turned (ISO/IEC 23008-12, 6.5.10 and 6.5.12: irot, imir), and libheif
turns it. pillow-heif then removes the orientation that the camera also wrote into EXIF.
"""

from __future__ import annotations

import io
from typing import BinaryIO

from PIL import ImageFile

from keyturn.normalize.reading import picture_faults
from keyturn.shop.rulebook import Intake


def opened(file: BinaryIO, kind: str, intake: Intake) -> ImageFile.ImageFile:
    """Open the primary picture, upright, its profile in `info`. Raise what garbage makes libheif raise."""
    try:
        import pillow_heif
    except ImportError:
        raise picture_faults.not_installed("a HEIC photograph", "photos", "JPEG or PNG") from None
    file.seek(0)
    open_heif: type[ImageFile.ImageFile] = pillow_heif.HeifImageFile
    image = open_heif(io.BytesIO(file.read()))  # read here, so that a fault of the disk is raised here
    image.format = kind
    return image
