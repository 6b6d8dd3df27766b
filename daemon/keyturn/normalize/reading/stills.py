"""Pictures read safely: what a file is, from its header alone, and its pixels within the shop's limits.

The file's contents decide what it is, never its name. Everything a decoder may raise over garbage becomes
`Refused` in the artist's words; faults of the shop's own disk pass through as the OSError they are.
"""

from __future__ import annotations

import errno
import os
import re
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from PIL import ExifTags, Image, ImageChops, ImageFile, PngImagePlugin, UnidentifiedImageError

from keyturn.normalize.reading import (
    bit_depth,
    bitmaps,
    clip_frames,
    declared_colours,
    drawings,
    films,
    headers,
    kinds,
    layered,
    photos,
    picture_faults,
    tiffs,
)
from keyturn.normalize.reading.decoded_elsewhere import Foreign
from keyturn.shop.reasons import Reason, Refused, ShopFault, mended, note, refuse
from keyturn.shop.rulebook import Intake

_READERS = {
    "BMP": bitmaps.opened,
    "HEIC": photos.opened,
    "SVG": drawings.opened,
    "PSD": layered.opened,
    "TIFF": tiffs.opened,
    **dict.fromkeys(kinds.FILMS, films.opened),
}
"""What opens the kinds that Pillow cannot, or not well enough."""

PngImagePlugin.MAX_TEXT_CHUNK = 16 * 2**20
"""Unpacked bytes of one profile or text: at Pillow's usual 1 MiB a sound PNG with a printer's profile is broken."""

_GARBAGE_ERRNO = (None, errno.EINVAL, errno.EOVERFLOW)
"""A decoder that believes a garbled offset asks the system for the impossible: the file's fault."""


@dataclass(frozen=True, slots=True)
class Probe:
    """A picture as its header describes it. `size` is width, height after the EXIF turn.

    `frames` is 1 and `durations_ms` empty for a still; `bits` are those of one sample.
    `reasons` are mended things and notes.
    """

    format: str
    size: tuple[int, int]
    mode: str
    frames: int
    interlaced: bool
    alpha: bool
    orientation: int
    has_profile: bool
    bits: int
    durations_ms: tuple[int, ...]
    reasons: tuple[Reason, ...] = ()


def probe(path: Path, intake: Intake, *, name: str) -> Probe:
    """What `path` is, without decoding it; `name` is its path in the drop, for the reasons.

    Raises `Refused`: empty, not a picture, a kind that is not taken, broken off (where the format says so
    before its pixels do), too many pixels or frames. Raises OSError as it comes from the shop's disk.
    """
    with path.open("rb") as file:
        with reading(name, intake.caps.picture_mpx):
            reel = walked(file, intake)
            image = opened(file, intake, name)
            found = _described(image, reel, name)
        _within_caps(found, intake, name)
        return found


def load(path: Path, intake: Intake, *, name: str, target: tuple[int, int] | None = None) -> Image.Image:
    """The decoded picture (a clip's first), in its own colours, with its EXIF and profile in `info`.

    With `target`, the panel's width and height, a much larger JPEG is decoded at a half, a quarter or an
    eighth, but never at less than one and a half times what covers the panel, so that the resize still has
    detail to weigh: from a phone's 12 megapixels in two fifths of the time, at 54 dB from the whole way round.
    Raises `Refused` where the picture cannot be decoded, OSError as it comes from the shop's disk.
    """
    with path.open("rb") as file, reading(name, intake.caps.picture_mpx):
        image = opened(file, intake, name)
        if target:
            wide, high = target if orientation(image) < 5 else target[::-1]
            image.draft(None, (wide * 3 // 2, high * 3 // 2))
        return decoded(image, lambda: opened(file, intake, name))


def orientation(image: Image.Image) -> int:
    """The turn from 1 to 8 that EXIF asks for; 1 where there is none or it cannot be read."""
    exif = Image.Exif()
    try:
        with _one_at_a_time, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # EXIF cut short still tells what it had told by then
            exif.load(image.info.get("exif") or b"")
            turn = exif.get(ExifTags.Base.Orientation, 1)
    except Exception:  # garbled EXIF is no reason to lose a sound picture
        return 1
    return turn if turn in range(1, 9) else 1


# -- Pillow, kept in bounds -------------------------------------------------------------------------

_one_at_a_time = threading.RLock()


def _unlocked_in_the_child() -> None:
    global _one_at_a_time
    _one_at_a_time = threading.RLock()


os.register_at_fork(after_in_child=_unlocked_in_the_child)


@contextmanager
def reading(name: str, most_mpx: float) -> Iterator[None]:
    """A block in which Pillow reads `name`: its limit is ours, and its complaints become `Refused`.

    The one place that touches process-wide state: Pillow's pixel limit and Python's warning filters. Both
    are put back afterwards, and a lock keeps threads from undoing each other's. Pillow's other warnings
    (odd TIFF tags, an APNG that is none) are about things that decoding decides anyway.
    """
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        before, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, int(most_mpx * 1e6)
        try:
            yield
        except (Refused, ShopFault):
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            pixels = re.search(r"\d+", str(error))
            raise Refused([picture_faults.too_large(int(pixels[0]) / 1e6 if pixels else 0, most_mpx, name)]) from error
        except MemoryError as error:
            raise Refused([picture_faults.too_large(0, most_mpx, name)]) from error
        except OSError as error:
            if error.errno not in _GARBAGE_ERRNO:
                raise
            raise Refused([picture_faults.broken(name)]) from error
        except clip_frames.Broken as error:
            raise Refused([picture_faults.broken(name, str(error))]) from error
        except Exception as error:  # decoders raise SyntaxError, struct.error, zlib.error, KeyError ...
            raise Refused([picture_faults.broken(name)]) from error
        finally:
            Image.MAX_IMAGE_PIXELS = before


def walked(file: BinaryIO, intake: Intake) -> clip_frames.Reel | None:
    """The file's structure where its kind is taken and has one worth walking. Raises `cels.Broken`."""
    file.seek(0)
    kind = kinds.of(file.read(512))
    return clip_frames.walk(file, kind, intake.caps.frames) if kind in _taken(intake) else None


def opened(file: BinaryIO, intake: Intake, name: str) -> ImageFile.ImageFile:
    """The file as its header describes it, in one of the kinds that are taken. For use within `reading`."""
    taken = _taken(intake)
    file.seek(0)
    start = file.read(512)
    if not start:
        raise Refused([refuse("picture-empty", "is empty (0 bytes)", "copy it again", file=name)])
    kind = kinds.of(start)
    if kind in _READERS and kind in taken:
        return _capped(_READERS[kind](file, kind, intake, name), intake, name)
    try:
        image = Image.open(file, formats=[one for one in taken if one not in _READERS])
    except UnidentifiedImageError as error:
        raise Refused([_unknown(file, taken, name)]) from error
    if kind == "PNG" and (declares := declared_colours.profile(file)):
        image.info["icc_profile"] = declares
    return image


def _capped(image: ImageFile.ImageFile, intake: Intake, name: str) -> ImageFile.ImageFile:
    if (mpx := image.width * image.height / 1e6) > intake.caps.picture_mpx:
        raise Refused([picture_faults.too_large(mpx, intake.caps.picture_mpx, name)])
    return image


def _taken(intake: Intake) -> tuple[str, ...]:
    formats = tuple(dict.fromkeys(f.upper() for f in (*intake.formats.stills, *intake.formats.clips)))
    Image.init()
    if strange := [f for f in formats if f not in Image.OPEN and f not in _READERS]:
        known = ", ".join(sorted(kinds.SUFFIXES))
        raise ShopFault(f"intake.toml: [formats] names {', '.join(strange)}", f"name some of: {known}")
    return formats


def decoded(image: ImageFile.ImageFile, again: Callable[[], ImageFile.ImageFile]) -> Image.Image:
    """The pixels of an opened picture, 16-bit samples rounded to 8; `again` opens it once more."""
    if deep := bit_depth.rounded(image, again):
        return deep
    bit_depth.scale_key(image)
    image.load()
    if image.format in ("JPEG", "MPO") and image.mode == "CMYK" and "adobe" not in image.info:
        # Pillow takes every CMYK JPEG for an inverted one. Only the kind with an Adobe marker is
        # (libjpeg's libjpeg.txt, "Special color spaces": inverted is what that program writes).
        plain = ImageChops.invert(image)
        plain.info = image.info
        return plain
    return image


# -- describing -------------------------------------------------------------------------------------


def _described(image: ImageFile.ImageFile, reel: clip_frames.Reel | None, name: str) -> Probe:
    clip = reel if reel is not None and len(reel.cels) > 1 else None
    shown_ms = clip_frames.shown_ms(clip.cels) if clip else _other_timing(image)
    if reel is not None and reel.exif:
        image.info.setdefault("exif", reel.exif)
    turn = _tiff_turn(image) if image.format == "TIFF" else orientation(image)
    size = clip.size if clip else image.size
    bits = reel.bits if reel is not None else _bits(image)
    interlaced = bool(image.info.get("interlace") or image.info.get("progressive"))
    return Probe(
        format="JPEG" if image.format == "MPO" else image.format or "",
        size=size[::-1] if turn >= 5 and image.format != "TIFF" else size,  # Pillow has turned TIFF's
        mode=image.mode,
        frames=max(1, len(shown_ms)),
        interlaced=interlaced,
        alpha=image.has_transparency_data,
        orientation=turn,
        has_profile=bool(image.info.get("icc_profile")),
        bits=bits,
        durations_ms=shown_ms if len(shown_ms) > 1 else (),
        reasons=tuple(_findings(image, clip, turn, bits, name)),
    )


def _other_timing(image: ImageFile.ImageFile) -> tuple[int, ...]:
    """Of a film as it is; of a moving AVIF, which is not taken, only how many frames it has."""
    if isinstance(image, Foreign):
        return image.shown_ms
    return (0,) * getattr(image, "n_frames", 1) if image.format == "AVIF" else ()


def _bits(image: ImageFile.ImageFile) -> int:
    return image.bits if isinstance(image, Foreign) else bit_depth.sample_bits(image)


def _tiff_turn(image: ImageFile.ImageFile) -> int:
    turn = image.getexif().get(ExifTags.Base.Orientation, 1)
    return turn if turn in range(1, 9) else 1


def _findings(
    image: ImageFile.ImageFile, clip: clip_frames.Reel | None, turn: int, bits: int, name: str
) -> Iterator[Reason]:
    kind = "JPEG" if image.format == "MPO" else image.format or ""
    suffix = PurePosixPath(name).suffix.lower()
    if suffix not in kinds.SUFFIXES.get(kind, (suffix,)):
        yield mended("suffix-wrong", f"is {kind} inside, whatever its name says; read as {kind}", file=name)
    if kind == "PNG" and image.info.get("interlace"):
        what = "was saved interlaced, which radios do not show; its frames are not"
        yield mended("interlace-removed", what, file=name)
    if turn != 1:
        yield mended("turned-upright", "was turned upright, as its camera asks", file=name)
    if bits > 8:
        yield mended("depth-reduced", f"has {bits} bits a channel; radios show 8", file=name)
    if kind == "TIFF" and getattr(image, "n_frames", 1) > 1:
        yield note("pages-ignored", "has several pages; the first is used", file=name)
    if isinstance(image, Foreign):
        yield from image.findings
    if clip and (short := sum(cel.delay_ms <= 10 for cel in clip.cels)):
        what = f"{short} of its frames ask for 10 ms or less; they count as 100 ms, as in browsers"
        yield note("delays-too-short", what, file=name)


def _within_caps(found: Probe, intake: Intake, name: str) -> None:
    mpx = found.size[0] * found.size[1] / 1e6
    film = found.format in kinds.FILMS
    moves = film or found.frames > 1
    most = intake.caps.clip_mpx if moves else intake.caps.picture_mpx
    if mpx > most:
        raise Refused([picture_faults.too_large(mpx, most, name)])
    if found.frames > intake.caps.frames and not film:  # of a film the manifest may want a short stretch
        raise Refused([picture_faults.too_long(intake.caps.frames, name)])
    taken = intake.formats.clips if moves else intake.formats.stills
    if found.format not in (f.upper() for f in taken):
        kind = f"a moving {found.format}" if moves else f"a still {found.format}"
        raise Refused([picture_faults.not_taken(kind, taken, name)])


def _unknown(file: BinaryIO, taken: tuple[str, ...], name: str) -> Reason:
    file.seek(0)
    start = file.read(1 << 18)  # a JPEG's frame header stands behind its EXIF and profile
    kind = kinds.of(start[:512])
    frame = headers.header(start) if kind == "JPEG" and kind in taken else None
    if frame and frame.bits > 8:
        what = f"is a JPEG of {frame.bits} bits a channel, which is not read here"
        return refuse("picture-layout", what, "export it with 8 bits a channel, or as PNG", file=name)
    if kind in taken:
        return picture_faults.broken(name, "begins well and cannot be read")
    if kind:
        return picture_faults.not_taken(kind, taken, name)
    mend = f"put a picture here; taken are {', '.join(taken)}"
    return refuse("picture-unknown", "is not a picture of any known kind", mend, file=name)
