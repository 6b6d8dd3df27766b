"""How large each part's pictures are and in which formats, in words for the sheet."""

from __future__ import annotations

from collections.abc import Iterator

from keyturn.shop.records import PartRecord, RadioRecord
from keyturn.shop.units import readable_size


def size_facts(radio: RadioRecord) -> tuple[str, ...]:
    """Return a line for each part; none for revisions whose records do not have the sizes."""
    return tuple(_fact(number, part) for number, part in enumerate(radio.parts, 1) if part.bytes)


def _fact(number: int, part: PartRecord) -> str:
    pictures = f"{part.frames} picture{'s' * (part.frames > 1)}"
    less = 1 - part.bytes / part.plain_bytes if part.plain_bytes else 0.0
    saved = f", {less:.0%} less than as plain PNG" if less >= 0.005 else ""
    return f"part {number}: {pictures}, {readable_size(part.bytes)} as {', '.join(_kinds(part))}{saved}"


def _kinds(part: PartRecord) -> Iterator[str]:
    kinds = (
        (part.jpeg_frames, "JPEG (not to the pixel)"),
        (part.palette_frames, "PNG of few colours"),
        (part.frames - part.jpeg_frames - part.palette_frames, "PNG"),
    )
    mixed = sum(count > 0 for count, _ in kinds) > 1
    for count, kind in kinds:
        if count:
            yield f"{count} {kind}" if mixed else kind
    if part.trimmed:
        yield "cut to what differs from their ground"
