"""Pictures turned upright and brought to 8-bit sRGB."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from PIL import Image, ImageCms

from keyturn.normalize.reading import bit_depth
from keyturn.normalize.reading.stills import orientation
from keyturn.shop.reasons import Reason, mended, note

# -- upright ----------------------------------------------------------------------------------------

_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What undoes each EXIF orientation (CIPA DC-008, tag 274). Pillow's rotations run anticlockwise."""


def upright(image: Image.Image) -> Image.Image:
    """The picture as its EXIF says it was held; the turn is then gone from its `info`."""
    turn = _TURNS.get(orientation(image))
    if turn is None:
        return image
    turned = image.transpose(turn)
    turned.info.pop("exif", None)
    return turned


# -- colour -----------------------------------------------------------------------------------------

_SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
_SPACES = {"L": "GRAY", "RGB": "RGB", "CMYK": "CMYK"}


def to_srgb(image: Image.Image) -> tuple[Image.Image, tuple[Reason, ...]]:
    """The picture in 8-bit sRGB, as RGBA where any of it is see-through, else as RGB; and what was mended.

    An embedded profile is followed by littleCMS: by its perceptual table where it has one; a matrix profile has none
    and is taken colorimetrically. The darkest it can show becomes black (black-point compensation). A profile that
    cannot be read is left aside.
    The result carries no metadata. The reasons name no file: only the caller knows it.
    """
    reasons: list[Reason] = []
    colours, alpha = _split(_eight_bit(image, reasons))
    made = _in_srgb(colours, image.info.get("icc_profile"), reasons)
    if alpha is not None and alpha.getextrema() != (255, 255):
        made.putalpha(alpha)
    return made, tuple(reasons)


def _eight_bit(image: Image.Image, reasons: list[Reason]) -> Image.Image:
    if image.mode.startswith("I;16"):
        return bit_depth.narrowed(image)
    if image.mode in ("I", "F"):
        reasons.append(
            note(
                "depth-guessed",
                "has very deep greys whose white is not told; the usual white just above its brightest was taken",
                "export it with 8 bits a channel",
            )
        )
        return _ranged(image)
    return image


def _ranged(image: Image.Image) -> Image.Image:
    """Grey of 32 bits, scaled by the least usual white (1 of fractions, 8, 16, 32 bits) that holds it."""
    values = np.nan_to_num(np.asarray(image, np.float64), nan=0.0, posinf=0.0, neginf=0.0)
    whites = [255, 65535, 2**32 - 1]
    brightest = values.max(initial=0.0)
    if image.mode == "F" and brightest <= 1:
        white = 1
    else:
        white = next((w for w in whites if brightest <= w), whites[-1])
    return Image.fromarray(np.floor(np.clip(values / white, 0, 1) * 255 + 0.5).astype(np.uint8))


def _split(image: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    """Colours as L, RGB, CMYK or LAB, and the alpha channel where there is one."""
    if image.mode in ("La", "RGBa"):
        image = image.convert(image.mode.upper())
    elif image.mode == "1":
        image = image.convert("LA" if image.has_transparency_data else "L")
    elif image.mode in ("P", "PA") or (image.has_transparency_data and image.mode in ("L", "RGB")):
        clear = image.has_transparency_data
        image = image.convert(("LA" if image.mode == "L" else "RGBA") if clear else "RGB")
    elif image.mode not in ("L", "LA", "RGB", "RGBA", "CMYK", "LAB"):
        image = image.convert("RGB")
    if image.mode in ("LA", "RGBA"):
        return image.convert(image.mode[:-1]), image.getchannel("A")
    return image, None


def _in_srgb(colours: Image.Image, profile: bytes | None, reasons: list[Reason]) -> Image.Image:
    made = None
    if colours.mode == "LAB":
        made = _applied(_lab_transform(), colours)
    elif profile:
        made = _followed(colours, profile, reasons)
    if made is None and colours.mode == "CMYK":
        what = "is in printing inks (CMYK) without a usable profile, so its colours on a screen are a guess"
        reasons.append(note("cmyk-guessed", what, "export it as RGB"))
    return made or _bare_rgb(colours)


def _bare_rgb(image: Image.Image) -> Image.Image:
    made = image.convert("RGB")  # always a copy
    made.info = {}
    return made


def _followed(colours: Image.Image, profile: bytes, reasons: list[Reason]) -> Image.Image | None:
    """The colours by their profile; None where it changes nothing or cannot be used."""
    try:
        described = _described(profile)
        if described.space == "RGB" and colours.mode == "L":
            colours = colours.convert("RGB")
        fits = described.space == _SPACES.get(colours.mode)
        transform = _transform(profile, colours.mode) if fits else None
    except (OSError, ValueError, TypeError, ImageCms.PyCMSError):
        what = "its colour profile cannot be read, so its colours were taken as sRGB"
        reasons.append(note("profile-broken", what, "export it with the sRGB profile"))
        return None
    if not fits:
        what = f"its colour profile is for {described.space or 'other'} pictures, so it was left aside"
        reasons.append(note("profile-unfit", what, "export it with the sRGB profile"))
    if transform is None:
        return None
    reasons.append(mended("profile-followed", f'its colours were brought from "{described.name}" to sRGB'))
    made = _applied(transform, colours)
    if colours.mode == "CMYK":
        reasons += _greyish_black(colours, made)
    return made


STILL_BLACK = 24
"""The brightest value of 255 that is taken for black on a dash at night: L* of 8. Keyturn's own choice."""


def _greyish_black(inks: Image.Image, made: Image.Image) -> list[Reason]:
    """Black ink alone is dark grey by many printers' profiles: true, and seldom what the artist meant."""
    darkest = int(np.asarray(made.convert("L")).min())
    if np.asarray(inks.getchannel("K")).max() < 255 or darkest <= STILL_BLACK:
        return []
    what = f"its full black ink, alone, is dark grey on a screen ({darkest} of 255)"
    return [note("black-is-grey", what, "export it as RGB, and make black 0, 0, 0")]


@dataclass(frozen=True, slots=True)
class _Profile:
    name: str
    space: str


@lru_cache(maxsize=16)
def _described(profile: bytes) -> _Profile:
    opened = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    text = ImageCms.getProfileDescription(opened)
    name = "".join(c for c in text if c.isprintable()).strip()[:60]
    return _Profile(name or "a profile without a name", opened.profile.xcolor_space.strip())


@lru_cache(maxsize=16)
def _transform(profile: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """From the profile to sRGB; None where it is sRGB but for rounding, and following it would only add some."""
    opened = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    transform = ImageCms.ImageCmsTransform(opened, _SRGB, mode, "RGB", ImageCms.Intent.PERCEPTUAL)
    if mode == "CMYK":
        return transform
    samples = _samples(mode)
    moved = np.asarray(transform.apply(samples)).astype(int) - np.asarray(samples.convert("RGB"))
    return transform if np.abs(moved).max() > 1 else None


def _samples(mode: str) -> Image.Image:
    if mode == "L":
        return Image.fromarray(np.arange(256, dtype=np.uint8)[None])
    steps = np.linspace(0, 255, 18).astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps), -1).reshape(1, -1, 3)
    return Image.fromarray(grid)


@lru_cache(maxsize=1)
def _lab_transform() -> ImageCms.ImageCmsTransform:
    """From CIELAB under D50, the white of ICC profiles and of TIFF's 8-bit L*a*b*."""
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
    return ImageCms.ImageCmsTransform(lab, _SRGB, "LAB", "RGB", ImageCms.Intent.PERCEPTUAL)


def _applied(transform: ImageCms.ImageCmsTransform, image: Image.Image) -> Image.Image:
    made = transform.apply(image)
    made.info = {}
    return made
