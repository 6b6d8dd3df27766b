"""Cropped frames of a ready-made archive made whole: each is laid on its row's colour where trim.txt places it.

Format: Android Open Source Project, frameworks/base, cmds/bootanimation; see `radio.trim`.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from keyturn.flatten.transparency import flatten
from keyturn.manifest.values import rgb
from keyturn.normalize.reading import stills
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.radio import trim
from keyturn.radio.trim import Box
from keyturn.renumber.patterns import is_art
from keyturn.shop.reasons import Reason, Refused, mended, refuse
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import Crew

BLACK = "#000000"
"""What surrounds cropped frames where the row names no colour."""


@dataclass(frozen=True, slots=True)
class CroppedFolder:
    """A part's folder below the archive's root, its files, and the colours of the rows that show it."""

    name: str
    files: tuple[str, ...]
    colours: frozenset[str]


@dataclass(frozen=True, slots=True)
class CroppedFrame:
    """A cropped frame and where it belongs on a picture of `size`. `name` is its path in the archive."""

    path: Path
    name: str
    box: Box
    size: tuple[int, int]
    colour: str
    intake: Intake


def whole_frame(job: CroppedFrame) -> bytes:
    """Return the whole frame as a PNG in sRGB.

    Raise `Refused` where the frame cannot be read or has another size than its box.
    """
    raw = upright(stills.load(job.path, job.intake, name=job.name))
    if raw.size != (job.box.width, job.box.height):
        what = f"is {raw.width} x {raw.height}, and trim.txt says {job.box}: a radio would stretch it"
        raise Refused([refuse("frame-size", what, "crop it anew, or send the whole pictures", file=job.name)])
    ground = rgb(job.colour)
    made = Image.new("RGB", job.size, ground)
    made.paste(flatten(to_srgb(raw)[0], ground), (job.box.x, job.box.y))
    file = io.BytesIO()
    made.save(file, "PNG", compress_level=1)
    return file.getvalue()


def uncrop(
    root: Path, folders: Iterable[CroppedFolder], size: tuple[int, int], crew: Crew, intake: Intake
) -> tuple[Reason, ...]:
    """Write whole frames of `size` over the cropped ones of every folder with a trim.txt; return what was found.

    The lines of trim.txt belong to the frames in byte order of their names, which is the order in which they play.
    """
    return tuple(
        reason
        for folder in folders
        if trim.NAME in folder.files
        for reason in _uncrop_folder(root, folder, size, crew, intake)
    )


def _uncrop_folder(
    root: Path, folder: CroppedFolder, size: tuple[int, int], crew: Crew, intake: Intake
) -> list[Reason]:
    text = (root / folder.name / trim.NAME).read_bytes()[: int(intake.caps.manifest_kib * 1024)]
    jobs, reasons = _cropped_frames(root, folder, text, size, intake)
    if reasons:
        return reasons
    what = f"the {len(jobs)} frames of {folder.name} were cropped; they were laid on {jobs[0].colour} again"
    return [*_write_whole(jobs, crew), mended("trim-undone", f"{what}, where trim.txt says")]


def _cropped_frames(
    root: Path, folder: CroppedFolder, text: bytes, size: tuple[int, int], intake: Intake
) -> tuple[list[CroppedFrame], list[Reason]]:
    """Return the folder's frames as trim.txt, `text`, places them, and what refuses them."""
    frames = sorted(filter(is_art, folder.files), key=lambda leaf: leaf.encode("utf-8", "surrogateescape"))
    boxes = trim.boxes(text, len(frames), size)
    mend = "send the whole pictures"
    reasons = [
        refuse("trim-outside", f"trim.txt places {leaf} at {box}, not within {size[0]} x {size[1]}", mend)
        for leaf, box in zip(frames, boxes, strict=True)
        if not box.within(size)
    ][:1]
    if len(folder.colours) > 1:
        what = f"rows show the cropped frames of {folder.name} on several colours: {', '.join(sorted(folder.colours))}"
        reasons.append(refuse("trim-grounds", what, mend))
    if size[0] * size[1] > intake.caps.picture_mpx * 1e6:
        what = f"desc.txt says {size[0]} x {size[1]}: at most {intake.caps.picture_mpx:g} megapixels are taken"
        reasons.append(refuse("picture-too-large", what, "write the panel's size"))
    (colour, *_) = sorted(folder.colours)
    jobs = [
        CroppedFrame(root / folder.name / leaf, f"{folder.name}/{leaf}", box, size, colour, intake)
        for leaf, box in zip(frames, boxes, strict=True)
    ]
    return jobs, reasons


def _write_whole(jobs: Sequence[CroppedFrame], crew: Crew) -> Iterator[Reason]:
    """Write the whole frame over each cropped one; yield the reasons of those that could not be made."""
    for job, result in zip(jobs, crew.run(whole_frame, jobs, lambda job: job.name), strict=True):
        if isinstance(result, Refused):
            yield from result.reasons
        else:
            job.path.write_bytes(result)


def folders(rows: Iterable[tuple[str, tuple[str, ...], str | None]]) -> tuple[CroppedFolder, ...]:
    """Return each folder once, with the colours of all its rows; `rows` gives (folder, its files, the row's colour)."""
    colours: dict[str, set[str]] = {}
    files: dict[str, tuple[str, ...]] = {}
    for name, leaves, colour in rows:
        colours.setdefault(name, set()).add((colour or BLACK).lower())
        files[name] = leaves
    return tuple(CroppedFolder(name, files[name], frozenset(seen)) for name, seen in colours.items())
