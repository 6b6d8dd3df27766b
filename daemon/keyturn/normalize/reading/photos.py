"""HEIC photographs as phones take them, through pillow-heif (libheif and libde265).

Which way up such a picture is stands in the container itself (ISO/IEC 23008-12, 6.5.10 and 6.5.12: irot, imir), and
libheif turns it; what the camera wrote into EXIF as well is then done with, and pillow-heif takes it out.
"""

from __future__ import annotations

import io
from typing import BinaryIO

from PIL import ImageFile

from keyturn.normalize.reading import picture_faults
from keyturn.shop.rulebook import Intake


def opened(file: BinaryIO, kind: str, intake: Intake, name: str) -> ImageFile.ImageFile:
    """The primary picture, upright, its profile in `info`. Raises what garbage makes libheif raise."""
    try:
        import pillow_heif
    except ImportError:
        raise picture_faults.not_installed("a HEIC photograph", "photos", "JPEG or PNG", name) from None
    file.seek(0)
    open_heif: type[ImageFile.ImageFile] = pillow_heif.HeifImageFile
    image = open_heif(io.BytesIO(file.read()))  # a fault of the disk is raised here
    image.format = kind
    return image
