"""How large each part's pictures are and in which formats, in words for the sheet."""

from __future__ import annotations

from collections.abc import Iterator

from keyturn.pages.languages import ENGLISH, Language
from keyturn.shop.records import PartRecord, RadioRecord


def size_facts(radio: RadioRecord, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return a line for each part; none for revisions whose records do not have the sizes."""
    return tuple(_fact(number, part, language) for number, part in enumerate(radio.parts, 1) if part.bytes)


def _fact(number: int, part: PartRecord, language: Language) -> str:
    fact = language.ngettext(
        "part %(number)s: %(num)s picture, %(size)s as %(kinds)s",
        "part %(number)s: %(num)s pictures, %(size)s as %(kinds)s",
        part.frames,
        number=number,
        size=language.size(part.bytes),
        kinds=language.listed(*_kinds(part, language)),
    )
    less = 1 - part.bytes / part.plain_bytes if part.plain_bytes else 0.0
    if less < 0.005:
        return fact
    return language.listed(
        fact, language.gettext("%(percent)s%% less than as plain PNG", percent=language.decimal(less * 100))
    )


def _kinds(part: PartRecord, language: Language) -> Iterator[str]:
    _ = language.gettext
    kinds = (
        (part.jpeg_frames, _("JPEG (not to the pixel)")),
        (part.palette_frames, _("PNG of few colours")),
        (part.frames - part.jpeg_frames - part.palette_frames, "PNG"),
    )
    mixed = sum(count > 0 for count, kind in kinds) > 1
    for count, kind in kinds:
        if count:
            yield f"{language.decimal(count)} {kind}" if mixed else kind
    if part.trimmed:
        yield _("cut to what differs from their ground")
