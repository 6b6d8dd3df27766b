"""Which pictures make which part: the manifest's patterns, or what a person would guess from the folders.

What Keyturn draws from (backdrops, sprites, the picture a part dissolves into) is found here as well.
"""

from __future__ import annotations

import filecmp
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath

from keyturn.flatten.figures import letters_missing
from keyturn.inbox.survey import Survey
from keyturn.manifest.drawn_frames import Glide, Sprite
from keyturn.manifest.models import FILE_NAME, Manifest, Part
from keyturn.normalize.probing import ProbeAll, here, probed
from keyturn.normalize.reading.clips import is_clip
from keyturn.normalize.reading.stills import Probe
from keyturn.renumber import order
from keyturn.renumber.clip_timing import stretch_reasons
from keyturn.shop.reasons import Kind, Reason, Refused, mended, note, refuse
from keyturn.shop.rulebook import Intake

_PICTURES = frozenset(
    ".png .apng .jpg .jpeg .jpe .jfif .webp .bmp .dib .tif .tiff .gif "
    ".heic .heif .hif .avif .svg .psd .psb .mp4 .m4v .mov .qt .webm .mkv .avi".split()
)
"""Endings by which a file is taken for art when the manifest names none; the contents decide later."""

UNTIL_BOOTED = "until-booted"


@dataclass(frozen=True, slots=True)
class PartArt:
    """One part's pictures in playing order: several stills, or one clip, or none where `said` has a glide.

    `said` is the manifest's part, with the names that the files really have.
    """

    art: str
    names: tuple[str, ...]
    clip: bool
    plays: int | str
    pause_s: float
    said: Part
    holds: PartArt | None = None  # the part whose last picture this one shows

    @property
    def hold_screen(self) -> str | None:
        return None if self.holds else self.said.hold_screen


@dataclass(frozen=True, slots=True)
class JobArt:
    """The job's art, the same for all its radios. `logo` None: frame 1 is the logo."""

    parts: tuple[PartArt, ...]
    logo: str | None
    probes: Mapping[str, Probe]
    reasons: tuple[Reason, ...]


def job_art(manifest: Manifest, found: Survey, intake: Intake, probe_all: ProbeAll = here) -> JobArt:
    """Raises `Refused` with every reason that stands against the art.

    `probe_all` looks into the files that the service itself should not; see `probing`.
    """
    reasons: list[Reason] = []
    logo = _logo(manifest, found.files, reasons)
    wanted = list(manifest.part) or _guessed(found.files, logo, reasons)
    wanted = [_as_named(part, number, found.files, reasons) for number, part in enumerate(wanted, 1)]
    beside = dict.fromkeys(name for part in wanted for name in _beside(part) if name in found.files)
    chosen = [(part, _matching(part, number, found.files, beside, reasons)) for number, part in enumerate(wanted, 1)]
    used = dict.fromkeys([*(name for _, names in chosen for name in names), *beside])
    probes = probed(found.root, [*used, *([logo] if logo else [])], intake, probe_all, reasons)
    reasons += _moving(beside, probes)
    parts = [_part(part, names, probes, found.root, reasons) for part, names in chosen if names or part.glide]
    for number, (part, names) in enumerate(chosen, 1):
        reasons += stretch_reasons(part, number, names, probes, intake.caps.frames)
    _unused(found.files, used, logo, reasons)
    _end_in_a_hold(parts, reasons)
    if not parts and not _refuses(reasons):
        reasons.append(refuse("no-art", "the drop holds no pictures", "add numbered pictures or a GIF"))
    if _refuses(reasons):
        raise Refused(reasons)
    return JobArt(tuple(parts), logo, probes, tuple(reasons))


def _refuses(reasons: Sequence[Reason]) -> bool:
    return any(r.kind is Kind.REFUSE for r in reasons)


def is_art(name: str) -> bool:
    return PurePosixPath(name).suffix.lower() in _PICTURES


def _logo(manifest: Manifest, files: Sequence[str], reasons: list[Reason]) -> str | None:
    wanted = manifest.logo.art
    if wanted == "first-frame":
        return None
    if wanted is None:
        found = [n for n in files if _is_logo(n) and is_art(n)]
        if len(found) > 1:
            what = f"there are several logos: {', '.join(found)}"
            reasons.append(refuse("logo-doubled", what, "keep one, or name it under [logo]", file=found[0]))
        return found[0] if found else None
    return _one(wanted, files, reasons, "logo-missing", "name one picture, or first-frame", "logo.art")


def _is_logo(name: str) -> bool:
    return "/" not in name and PurePosixPath(name).stem.lower() == "logo"


def _has_number(name: str) -> bool:
    return any(letter.isdigit() for letter in PurePosixPath(name).stem)


def _one(wanted: str, files: Sequence[str], reasons: list[Reason], code: str, mend: str, field: str) -> str | None:
    """The one file of the drop that `wanted` names."""
    names = _glob(wanted, files, reasons)
    if len(names) == 1:
        return names[0]
    what = f'"{wanted}" names {len(names)} files of the drop' if names else f'"{wanted}" is not in the drop'
    reasons.append(refuse(code, what, mend, file=FILE_NAME, field=field))
    return None


def _guessed(files: Sequence[str], logo: str | None, reasons: list[Reason]) -> list[Part]:
    """Sub-folders in name order are parts; loose numbered pictures are one part."""
    art = [name for name in files if is_art(name) and name != logo]
    loose = [name for name in art if "/" not in name]
    folders = sorted({name.rpartition("/")[0] for name in art if "/" in name})
    if loose and folders:
        what = f"pictures lie both loose and in folders ({', '.join(folders)})"
        reasons.append(refuse("parts-unclear", what, "put all in folders, or name the parts under [[part]]"))
        return []
    return [Part(art=f"{folder}/*") for folder in folders] if folders else ([Part(art="*")] if loose else [])


def _matching(
    part: Part, number: int, files: Sequence[str], beside: Mapping[str, None], reasons: list[Reason]
) -> tuple[str, ...]:
    """The pictures of `part.art`. A pattern leaves out the logo, and of what is drawn from `beside` the frames
    all that has no number: scene.png is no frame, and 0048.png may be a frame and a backdrop."""
    if part.art is None:
        return ()
    names = tuple(n for n in _glob(part.art, files, reasons) if is_art(n) or n == part.art)
    if "*" in part.art:
        names = tuple(n for n in names if not _is_logo(n) and (n not in beside or _has_number(n)))
    if not names:
        what = f'"{part.art}" matches no picture of the drop'
        mend = _nearest_folder(part.art, files)
        reasons.append(refuse("part-empty", what, mend, file=FILE_NAME, field=f"part.{number}.art"))
    if part.pan and len(names) > 1:
        what = f'"{part.art}" names {len(names)} pictures, and a pan moves over one'
        reasons.append(refuse("pan-of-several", what, "name one picture", file=FILE_NAME, field=f"part.{number}.art"))
    return names


def _nearest_folder(pattern: str, files: Sequence[str]) -> str:
    places = sorted({f"{n.rpartition('/')[0]}/*".lstrip("/") for n in files if is_art(n)})
    return f"the pictures of this drop lie in: {', '.join(places[:6])}" if places else "add the pictures"


def _glob(pattern: str, files: Sequence[str], reasons: list[Reason]) -> tuple[str, ...]:
    """Component by component; where only the capitals differ, the artist's meaning is plain."""
    if exact := tuple(n for n in files if _fits(n, pattern)):
        return exact
    folded = tuple(n for n in files if _fits(n.lower(), pattern.lower()))
    if folded:
        reasons.append(mended("capitals-differ", f'"{pattern}" was read as {folded[0]}: only capitals differ'))
    return folded


def _fits(name: str, pattern: str) -> bool:
    steps, wanted = name.split("/"), pattern.split("/")
    return (len(steps) == len(wanted) and all(map(fnmatchcase, steps, wanted))) or name == pattern


def _part(
    part: Part, names: tuple[str, ...], probes: Mapping[str, Probe], root: Path, reasons: list[Reason]
) -> PartArt:
    clips = [n for n in names if n in probes and is_clip(probes[n])]
    clip = len(names) == 1 and bool(clips)
    if clips and not clip:
        what = "moves, and stands among other pictures of its part"
        reasons.append(refuse("clip-among-stills", what, "give each clip a [[part]] of its own", file=clips[0]))
    if len(names) > 1:
        ordered = order.order(names, part=_said(part.art or ""), same=_same_content(root))
        reasons += ordered.reasons
        names = ordered.names
    if part.pan and clip:
        what = "moves by itself; a pan moves over a still"
        reasons.append(refuse("pan-of-clip", what, "name a still", file=names[0]))
    art = part.art or "a glide drawn by Keyturn"
    return PartArt(art, names, clip, part.plays, part.pause, part)


def _said(art: str) -> str:
    return "the loose pictures" if art == "*" else art


def _same_content(root: Path) -> Callable[[str, str], bool]:
    return lambda a, b: filecmp.cmp(root / a, root / b, shallow=False)


def _unused(files: Sequence[str], used: Mapping[str, None], logo: str | None, reasons: list[Reason]) -> None:
    left = [n for n in files if n not in used and n != logo and n != FILE_NAME and is_art(n)]
    if left:
        shown = ", ".join(left[:4]) + (f" and {len(left) - 4} more" if len(left) > 4 else "")
        reasons.append(note("art-unused", f"in the drop but not in the job: {shown}"))


def _end_in_a_hold(parts: list[PartArt], reasons: list[Reason]) -> None:
    """The screen must show something until the radio has booted, and nothing after it is ever reached."""
    for number, part in enumerate(parts[:-1], 1):
        if part.plays == UNTIL_BOOTED:
            what = f"part {number} plays until the radio has booted, so the parts after it are never seen"
            mend = "put it last, or give it a number of plays"
            reasons.append(refuse("part-unreachable", what, mend, file=FILE_NAME, field=f"part.{number}.plays"))
    if parts and parts[-1].plays != UNTIL_BOOTED:
        parts.append(_hold(parts[-1]))


def _hold(last: PartArt) -> PartArt:
    names = last.names[:1] if last.said.reverse else last.names[-1:]
    art = f"last picture of {_said(last.art)}"
    return replace(last, art=art, names=names, plays=UNTIL_BOOTED, pause_s=0.0, holds=last)


# -- what Keyturn draws from ------------------------------------------------------------------------


def _as_named(part: Part, number: int, files: Sequence[str], reasons: list[Reason]) -> Part:
    """`part` with its backdrop, sprites and last picture by the names the files really have."""

    def found(wanted: str | None, key: str) -> str | None:
        if wanted is None:
            return None
        field = f"part.{number}.{key}"
        return _one(wanted, files, reasons, "picture-missing", "name one picture of the drop", field) or wanted

    changes: dict[str, object] = {"backdrop": found(part.backdrop, "backdrop")}
    if part.crossfade:
        to = found(part.crossfade.to, "crossfade.to")
        changes["crossfade"] = part.crossfade.model_copy(update={"to": to})
    if part.glide:
        sprites = [
            sprite.model_copy(update={"art": found(sprite.art, f"glide.sprite.{place}.art")})
            for place, sprite in enumerate(part.glide.sprites, 1)
        ]
        behind = found(part.glide.backdrop, "glide.backdrop")
        changes["glide"] = part.glide.model_copy(update={"backdrop": behind, "sprite": tuple(sprites), "text": None})
        reasons += _unwritable(part.glide, sprites, number)
    return part.model_copy(update=changes)


def _beside(part: Part) -> list[str]:
    """The pictures that are not frames by themselves."""
    glide = [part.glide.backdrop, *(s.art for s in part.glide.sprites)] if part.glide else []
    return [n for n in (part.backdrop, part.crossfade and part.crossfade.to, *glide) if n]


def _moving(beside: Mapping[str, None], probes: Mapping[str, Probe]) -> list[Reason]:
    what, mend = "moves, and is wanted as a still", "save one picture of it as PNG and name that"
    return [
        refuse("clip-as-still", what, mend, file=name) for name in beside if name in probes and is_clip(probes[name])
    ]


def _unwritable(glide: Glide, sprites: Sequence[Sprite], number: int) -> list[Reason]:
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
