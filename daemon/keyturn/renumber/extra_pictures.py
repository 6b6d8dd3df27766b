"""A part's pictures that are not frames by themselves: backdrops, sprites, the picture it dissolves into."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from keyturn.flatten.figures import letters_missing
from keyturn.manifest.drawn_frames import Glide, Sprite
from keyturn.manifest.models import FILE_NAME, Part
from keyturn.normalize.reading.clips import is_clip
from keyturn.normalize.reading.probe import Probe
from keyturn.renumber.patterns import one_file
from keyturn.shop.reasons import Reason, refuse


def extra_pictures(part: Part) -> list[str]:
    """Return the names of the part's extra pictures."""
    glide = [part.glide.backdrop, *(s.art for s in part.glide.sprites)] if part.glide else []
    return [name for name in (part.backdrop, part.crossfade and part.crossfade.to, *glide) if name]


def with_real_names(part: Part, number: int, files: Sequence[str]) -> tuple[Part, list[Reason]]:
    """Return part `number` with its extra pictures called as the files really are, and what is wrong with them.

    A name that means no file or several stays as it is, with a refusal.
    """
    changes: dict[str, object] = {}
    changes["backdrop"], reasons = _real_name(part.backdrop, f"part.{number}.backdrop", files)
    if part.crossfade:
        to, more = _real_name(part.crossfade.to, f"part.{number}.crossfade.to", files)
        changes["crossfade"] = part.crossfade.model_copy(update={"to": to})
        reasons += more
    if part.glide:
        changes["glide"], more = _glide_with_real_names(part.glide, number, files)
        reasons += more
    return part.model_copy(update=changes), reasons


def _real_name(wanted: str | None, field: str, files: Sequence[str]) -> tuple[str | None, list[Reason]]:
    if wanted is None:
        return None, []
    name, reasons = one_file(wanted, files, "picture-missing", "name one picture of the drop", field)
    return name or wanted, reasons


def _glide_with_real_names(glide: Glide, number: int, files: Sequence[str]) -> tuple[Glide, list[Reason]]:
    sprites: list[Sprite] = []
    reasons: list[Reason] = []
    for place, sprite in enumerate(glide.sprites, 1):
        art, more = _real_name(sprite.art, f"part.{number}.glide.sprite.{place}.art", files)
        sprites.append(sprite.model_copy(update={"art": art}))
        reasons += more
    backdrop, more = _real_name(glide.backdrop, f"part.{number}.glide.backdrop", files)
    reasons += [*more, *_letter_reasons(glide, sprites, number)]
    return glide.model_copy(update={"backdrop": backdrop, "sprite": tuple(sprites), "text": None}), reasons


def _letter_reasons(glide: Glide, sprites: Sequence[Sprite], number: int) -> list[Reason]:
    """Refuse text with letters that the typeface lacks."""
    return [
        refuse(
            "letters-missing",
            f'the typeface has no shape for {" ".join(missing)} in "{sprite.text}"',
            "write it otherwise, or draw the words as a picture and name it as a sprite's art",
            file=FILE_NAME,
            field=f"part.{number}.glide" + (f".sprite.{place}.text" if glide.sprite else ".text"),
        )
        for place, sprite in enumerate(sprites, 1)
        if (missing := letters_missing(sprite.text or ""))
    ]


def clip_reasons(names: Iterable[str], probes: Mapping[str, Probe]) -> list[Reason]:
    """Refuse the extra pictures that are clips: only stills can be drawn from."""
    what, mend = "moves, and is wanted as a still", "save one picture of it as PNG and name that"
    return [
        refuse("clip-as-still", what, mend, file=name) for name in names if name in probes and is_clip(probes[name])
    ]
