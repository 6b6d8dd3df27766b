"""What a shop's papers have in common: whose they are, and how large a sheet may be."""

from __future__ import annotations

import base64
import io
import warnings
from dataclasses import dataclass
from pathlib import Path

from loguru import logger
from PIL import Image, ImageOps

from keyturn.shop import durable_files
from keyturn.shop.settings import SHEET_MB, Settings

LOGO_PX = (480, 160)
"""Largest width and height of the shop's logo on a page, in pixels: twice as wide as it is shown, for fine screens."""

LOGO_MOST_BYTES = 20 * 2**20
LOGO_MOST_PIXELS = 40_000_000
LOGO_KINDS = ("PNG", "JPEG", "WEBP", "GIF", "BMP")


@dataclass(frozen=True, slots=True)
class Letterhead:
    """The shop's name and how to reach it; empty where the settings do not say. `logo` is a data URI or "".

    `language` is the code of the language of its papers.
    """

    name: str = ""
    address: tuple[str, ...] = ()
    phone: str = ""
    mail: str = ""
    website: str = ""
    logo: str = ""
    language: str = "en"

    def __bool__(self) -> bool:
        return bool(self.name)

    @property
    def line(self) -> str:
        """Name, address and how to reach the shop, in one line of plain text."""
        return ", ".join(word for word in (self.name, *self.address, self.phone, self.mail, self.website) if word)


@dataclass(frozen=True, slots=True)
class Papers:
    """How sheets, cards, boards and INSTALL.txt are made. `sheet_mb` is what a sheet's pictures may take, in MB."""

    letterhead: Letterhead = Letterhead()
    sheet_mb: float = SHEET_MB


def of_shop(settings: Settings, root: Path) -> Papers:
    """Return the papers of the shop in `root`. A logo that cannot be used is left out, and the log says so."""
    shop = settings.shop
    logo = ""
    if shop.logo:
        try:
            logo = logo_picture(root / shop.logo)
        except (OSError, ValueError) as error:
            logger.warning("the shop's logo {} is left out: {}", shop.logo, error)
    letterhead = Letterhead(shop.name, shop.address, shop.phone, shop.mail, shop.website, logo, settings.language)
    return Papers(letterhead, settings.sheet.megabytes)


def logo_picture(path: Path) -> str:
    """Return a picture as a data URI: made smaller and written anew, so that nothing but its pixels is passed on.

    Raise OSError where there is no such file, and ValueError where it is no picture that can be used.
    """
    data = durable_files.read_plain(path, LOGO_MOST_BYTES)
    if data is None and not path.exists():
        raise FileNotFoundError(f"there is no file {path.name} in {path.parent}")
    if data is None:
        raise OSError(f"{path.name} is no plain file of at most {LOGO_MOST_BYTES // 2**20} MiB")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        try:
            opened = Image.open(io.BytesIO(data), formats=LOGO_KINDS)
            if opened.width * opened.height > LOGO_MOST_PIXELS:
                raise ValueError(f"{path.name} has {opened.width} x {opened.height} pixels, which is too many")
            picture = ImageOps.exif_transpose(opened).convert("RGBA")
        except (OSError, SyntaxError, Image.DecompressionBombError) as error:
            raise ValueError(f"{path.name} is no whole PNG, JPEG, WebP, GIF or BMP") from error
    picture.thumbnail(LOGO_PX, Image.Resampling.LANCZOS)
    picture.info = {}
    file = io.BytesIO()
    picture.save(file, "PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode("ascii")
