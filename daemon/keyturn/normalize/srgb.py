"""Pictures turned upright and brought to 8-bit sRGB."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from PIL import Image, ImageCms

from keyturn.normalize.reading import bit_depth
from keyturn.normalize.reading.exif_turn import orientation
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
    """Return the picture turned as its EXIF orientation says, without EXIF; unchanged where there is no turn."""
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
    """Return the picture in 8-bit sRGB, without metadata, and what was mended or guessed.

    The mode is RGBA where any pixel is see-through, else RGB. littleCMS applies an embedded profile: its perceptual
    table where it has one; a matrix profile has none and is taken colorimetrically. The darkest colour that the
    profile can show becomes black (black-point compensation). A profile that cannot be read is ignored. The reasons
    name no file: only the caller knows it.
    """
    eight_bit, depth_reasons = _eight_bit(image)
    colours, alpha = _split(eight_bit)
    made, colour_reasons = _in_srgb(colours, image.info.get("icc_profile"))
    if alpha is not None and alpha.getextrema() != (255, 255):
        made.putalpha(alpha)
    return made, (*depth_reasons, *colour_reasons)


def _eight_bit(image: Image.Image) -> tuple[Image.Image, list[Reason]]:
    if image.mode.startswith("I;16"):
        return bit_depth.narrowed(image), []
    if image.mode not in ("I", "F"):
        return image, []
    what = "has very deep greys whose white is not told; the usual white just above its brightest was taken"
    return _ranged(image), [note("depth-guessed", what, "export it with 8 bits a channel")]


def _ranged(image: Image.Image) -> Image.Image:
    """Return a 32-bit grey picture as 8 bits.

    White is the least of the usual values (1 for fractions; the most of 8, 16 or 32 bits) that no pixel exceeds.
    """
    values = np.nan_to_num(np.asarray(image, np.float64), nan=0.0, posinf=0.0, neginf=0.0)
    whites = [255, 65535, 2**32 - 1]
    brightest = values.max(initial=0.0)
    if image.mode == "F" and brightest <= 1:
        white = 1
    else:
        white = next((w for w in whites if brightest <= w), whites[-1])
    return Image.fromarray(np.floor(np.clip(values / white, 0, 1) * 255 + 0.5).astype(np.uint8))


def _split(image: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    """Return the colours as L, RGB, CMYK or LAB, and the alpha channel where there is one."""
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


def _in_srgb(colours: Image.Image, profile: bytes | None) -> tuple[Image.Image, list[Reason]]:
    made: Image.Image | None = None
    reasons: list[Reason] = []
    if colours.mode == "LAB":
        made = _applied(_lab_transform(), colours)
    elif profile:
        made, reasons = _by_profile(colours, profile)
    if made is None and colours.mode == "CMYK":
        what = "is in printing inks (CMYK) without a usable profile, so its colours on a screen are a guess"
        reasons.append(note("cmyk-guessed", what, "export it as RGB"))
    return made or _bare_rgb(colours), reasons


def _bare_rgb(image: Image.Image) -> Image.Image:
    made = image.convert("RGB")  # always a copy
    made.info = {}
    return made


def _by_profile(colours: Image.Image, profile: bytes) -> tuple[Image.Image | None, list[Reason]]:
    """Return the colours by their profile; None where it changes nothing or cannot be used."""
    try:
        described = _described(profile)
        if described.space == "RGB" and colours.mode == "L":
            colours = colours.convert("RGB")
        fits = described.space == _SPACES.get(colours.mode)
        transform = _transform(profile, colours.mode) if fits else None
    except (OSError, ValueError, TypeError, ImageCms.PyCMSError):
        what = "its colour profile cannot be read, so its colours were taken as sRGB"
        return None, [note("profile-broken", what, "export it with the sRGB profile")]
    if not fits:
        what = f"its colour profile is for {described.space or 'other'} pictures, so it was left aside"
        return None, [note("profile-unfit", what, "export it with the sRGB profile")]
    if transform is None:
        return None, []
    made = _applied(transform, colours)
    reasons = [mended("profile-followed", f'its colours were brought from "{described.name}" to sRGB')]
    return made, reasons + (_grey_black_reasons(colours, made) if colours.mode == "CMYK" else [])


STILL_BLACK = 24
"""The brightest grey, of 255, that looks black on a dash at night: L* of 8. Keyturn's own choice."""


def _grey_black_reasons(inks: Image.Image, made: Image.Image) -> list[Reason]:
    """Return a note where full black ink becomes dark grey on the screen.

    By many printers' profiles black ink alone is dark grey. That is correct, but seldom what the artist meant.
    """
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
    """Return the transform to sRGB; None where it moves no sample by more than 1: it would only add rounding errors."""
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
    """Return the transform from CIELAB under D50, the white of ICC profiles and of TIFF's 8-bit L*a*b*."""
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
    return ImageCms.ImageCmsTransform(lab, _SRGB, "LAB", "RGB", ImageCms.Intent.PERCEPTUAL)


def _applied(transform: ImageCms.ImageCmsTransform, image: Image.Image) -> Image.Image:
    made = transform.apply(image)
    made.info = {}
    return made
