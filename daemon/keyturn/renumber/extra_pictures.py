"""A part's pictures that are not frames by themselves: backdrops, sprites, those it dissolves from and into."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from keyturn.manifest.drawn_frames import Crossfade, Glide, Sprite
from keyturn.manifest.models import FILE_NAME, Part
from keyturn.normalize.reading.clips import is_clip
from keyturn.normalize.reading.probe import Probe
from keyturn.renumber.patterns import of_folder, one_file
from keyturn.shop.reasons import Reason, mended, refuse

LOGO = "logo"
"""What `from` of a dissolve calls the job's logo."""


def extra_pictures(part: Part) -> list[str]:
    """Return the names of the part's extra pictures."""
    glide = [part.glide.backdrop, *(s.art for s in part.glide.sprites)] if part.glide else []
    dissolves = [part.crossfade.start, part.crossfade.to] if part.crossfade else []
    return [name for name in (part.backdrop, *dissolves, *glide) if name]


def with_real_names(part: Part, number: int, files: Sequence[str], logo: str | None) -> tuple[Part, list[Reason]]:
    """Return part `number` with its extra pictures called as the files really are, and what is wrong with them.

    A name that means no file or several stays as it is, with a refusal. Where art names a folder, its pictures are
    meant. `logo` is the job's own logo.
    """
    changes: dict[str, object] = {}
    changes["backdrop"], reasons = _real_name(part.backdrop, f"part.{number}.backdrop", files)
    if part.crossfade:
        changes["crossfade"], more = _dissolve_with_real_names(part.crossfade, f"part.{number}.crossfade", files, logo)
        reasons += more
    if part.glide:
        changes["glide"], more = _glide_with_real_names(part.glide, number, files)
        reasons += more
    if part.art and (pattern := of_folder(part.art, files)):
        changes["art"] = pattern
        what = f'"{part.art}" is a folder, and was read as "{pattern}"'
        reasons.append(mended("manifest-mended", what, file=FILE_NAME, field=f"part.{number}.art"))
    return part.model_copy(update=changes), reasons


def _real_name(wanted: str | None, field: str, files: Sequence[str]) -> tuple[str | None, list[Reason]]:
    if wanted is None:
        return None, []
    name, reasons = one_file(wanted, files, "picture-missing", "name one picture of the drop", field)
    return name or wanted, reasons


def _dissolve_with_real_names(
    crossfade: Crossfade, field: str, files: Sequence[str], logo: str | None
) -> tuple[Crossfade, list[Reason]]:
    to, reasons = _real_name(crossfade.to, f"{field}.to", files)
    if crossfade.start != LOGO:
        start, more = _real_name(crossfade.start, f"{field}.from", files)
        return crossfade.model_copy(update={"to": to, "start": start}), [*reasons, *more]
    if logo is None:
        what = "the job has no logo of its own to begin with: frame 1 is the logo"
        reasons.append(refuse("logo-missing", what, "add logo.png, or take from out", file=FILE_NAME, field=field))
    return crossfade.model_copy(update={"to": to, "start": logo or LOGO}), reasons


def _glide_with_real_names(glide: Glide, number: int, files: Sequence[str]) -> tuple[Glide, list[Reason]]:
    sprites: list[Sprite] = []
    reasons: list[Reason] = []
    for place, sprite in enumerate(glide.sprites, 1):
        art, more = _real_name(sprite.art, f"part.{number}.glide.sprite.{place}.art", files)
        sprites.append(sprite.model_copy(update={"art": art}))
        reasons += more
    backdrop, more = _real_name(glide.backdrop, f"part.{number}.glide.backdrop", files)
    reasons += more
    return glide.model_copy(update={"backdrop": backdrop, "sprite": tuple(sprites), "text": None}), reasons


def clip_reasons(names: Iterable[str], probes: Mapping[str, Probe]) -> list[Reason]:
    """Refuse the extra pictures that are clips: only stills can be drawn from."""
    what, mend = "moves, and is wanted as a still", "save one picture of it as PNG and name that"
    return [
        refuse("clip-as-still", what, mend, file=name) for name in names if name in probes and is_clip(probes[name])
    ]
