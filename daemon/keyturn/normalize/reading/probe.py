"""What a picture's header says of it, and whether that is within the shop's limits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from PIL import ImageFile

from keyturn.normalize.reading import bit_depth, clip_frames, exif_turn, kinds, picture_faults
from keyturn.normalize.reading.clip_frames import ClipStructure
from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.normalize.reading.file_reasons import named
from keyturn.shop.reasons import Reason, Refused, mended, note
from keyturn.shop.rulebook import Intake


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
    bits: int
    durations_ms: tuple[int, ...]
    reasons: tuple[Reason, ...] = ()


def described(image: ImageFile.ImageFile, structure: ClipStructure | None) -> Probe:
    """Return what the header of an opened picture and the walk through its file say."""
    clip = structure if structure is not None and len(structure.cels) > 1 else None
    shown_ms = clip_frames.shown_ms(clip.cels) if clip else _other_timing(image)
    if structure is not None and structure.exif:
        image.info.setdefault("exif", structure.exif)
    is_tiff = image.format == "TIFF"
    turn = exif_turn.tiff_orientation(image) if is_tiff else exif_turn.orientation(image)
    size = clip.size if clip else image.size
    bits = structure.bits if structure is not None else _bits(image)
    return Probe(
        format=_format(image),
        size=size[::-1] if turn >= 5 and not is_tiff else size,  # Pillow has turned a TIFF's
        mode=image.mode,
        frames=max(1, len(shown_ms)),
        interlaced=bool(image.info.get("interlace") or image.info.get("progressive")),
        alpha=image.has_transparency_data,
        orientation=turn,
        bits=bits,
        durations_ms=shown_ms if len(shown_ms) > 1 else (),
        reasons=tuple(_findings(image, clip, turn, bits)),
    )


def with_name(found: Probe, name: str) -> Probe:
    """Return `found` with the file's name in its reasons, and with a reason where its ending is another kind's."""
    suffix = PurePosixPath(name).suffix.lower()
    reasons = found.reasons
    if suffix not in kinds.ENDINGS.get(found.format, (suffix,)):
        what = f"is {found.format} inside, whatever its name says; read as {found.format}"
        reasons = (mended("suffix-wrong", what), *reasons)
    return replace(found, reasons=named(reasons, name)) if reasons else found


def stop_beyond_limits(found: Probe, intake: Intake) -> None:
    """Raise `Refused` for too many pixels or frames, or for a kind that is not taken as a still or as a clip."""
    mpx = found.size[0] * found.size[1] / 1e6
    film = found.format in kinds.FILMS
    moves = film or found.frames > 1
    most = intake.caps.clip_mpx if moves else intake.caps.picture_mpx
    if mpx > most:
        raise Refused([picture_faults.too_large(mpx, most)])
    if found.frames > intake.caps.frames and not film:  # the manifest may take a short stretch of a film
        raise Refused([picture_faults.too_long(intake.caps.frames)])
    taken = intake.formats.clips if moves else intake.formats.stills
    if found.format not in (f.upper() for f in taken):
        kind = f"a moving {found.format}" if moves else f"a still {found.format}"
        raise Refused([picture_faults.not_taken(kind, taken)])


def _format(image: ImageFile.ImageFile) -> str:
    return "JPEG" if image.format == "MPO" else image.format or ""


def _other_timing(image: ImageFile.ImageFile) -> tuple[int, ...]:
    """Return a film's durations. A moving AVIF, which is not taken, gets only as many numbers as it has frames."""
    if isinstance(image, LibraryPicture):
        return image.shown_ms
    return (0,) * getattr(image, "n_frames", 1) if image.format == "AVIF" else ()


def _bits(image: ImageFile.ImageFile) -> int:
    return image.bits if isinstance(image, LibraryPicture) else bit_depth.sample_bits(image)


def _findings(image: ImageFile.ImageFile, clip: ClipStructure | None, turn: int, bits: int) -> Iterator[Reason]:
    kind = _format(image)
    if kind == "PNG" and image.info.get("interlace"):
        yield mended("interlace-removed", "was saved interlaced, which radios do not show; its frames are not")
    if turn != exif_turn.UPRIGHT:
        yield mended("turned-upright", "was turned upright, as its camera asks")
    if bits > 8:
        yield mended("depth-reduced", f"has {bits} bits a channel; radios show 8")
    if kind == "TIFF" and getattr(image, "n_frames", 1) > 1:
        yield note("pages-ignored", "has several pages; the first is used")
    if kind == "ICO" and len(image.info.get("sizes", ())) > 1:
        yield note("icon-largest", "holds several sizes; the largest is used")
    if isinstance(image, LibraryPicture):
        yield from image.findings
    if clip and (short := sum(cel.delay_ms <= 10 for cel in clip.cels)):
        yield note(
            "delays-too-short", f"{short} of its frames ask for 10 ms or less; they count as 100 ms, as in browsers"
        )
