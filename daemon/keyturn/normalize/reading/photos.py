"""Phone photographs: HEIC through pillow-heif (libheif and libde265), AVIF through Pillow (libavif) or libvips.

The container itself says how such a picture is turned (ISO/IEC 23008-12, 6.5.10 and 6.5.12: irot, imir), and libheif
turns it. pillow-heif then removes the orientation that the camera also wrote into EXIF. libavif refuses files that
break small rules of the container, such as a transparency without a size of its own; libheif, in libvips, shows them.
"""

from __future__ import annotations

import io
from typing import BinaryIO

from PIL import Image, ImageFile, UnidentifiedImageError

from keyturn.normalize.reading import picture_faults
from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.shop import fast_libraries
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


def avif(file: BinaryIO, kind: str, intake: Intake) -> ImageFile.ImageFile:
    """Open an AVIF, its header read. Raise what garbage makes Pillow raise."""
    file.seek(0)
    try:
        return Image.open(file, formats=[kind])
    except UnidentifiedImageError:
        if (shown := _by_libvips(file, kind)) is None:
            raise picture_faults.Broken("begins well and cannot be read") from None
        return shown


def _by_libvips(file: BinaryIO, kind: str) -> LibraryPicture | None:
    """Return the still as libheif shows it, in 8 bits; None where libvips is missing, fails or warns."""
    pyvips = fast_libraries.library(fast_libraries.READ_MORE)
    if pyvips is None:
        return None
    file.seek(0)
    data = file.read()
    try:
        read = pyvips.Image.heifload_buffer(data, fail_on="warning")
        pages = read.get("n-pages") if "n-pages" in read.get_fields() else 1
        mode = {3: "RGB", 4: "RGBA"}.get(read.bands, "")
        if pages > 1 or not mode or read.format != "uchar":
            return None
        profile = read.get("icc-profile-data") if "icc-profile-data" in read.get_fields() else None
    except pyvips.Error:
        return None

    def drawn(size: tuple[int, int]) -> Image.Image:
        try:
            return Image.frombytes(mode, size, read.write_to_memory())
        except pyvips.Error:
            raise picture_faults.Broken("cannot be read to its end") from None

    return LibraryPicture(
        kind, (read.width, read.height), mode, drawn, info={"icc_profile": profile} if profile else None
    )
