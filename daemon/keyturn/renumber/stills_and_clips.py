"""A part that holds stills and clips at once: one of the two is meant."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import PurePosixPath

from keyturn.normalize.drop_files import listed
from keyturn.shop.reasons import Reason, mended, refuse

PREVIEW = ("preview", "vorschau", "apercu", "anteprima", "vista previa")
"""How people call a clip that shows what the frames will look like. Common practice, no source."""


def stills_of(names: tuple[str, ...], clips: Collection[str]) -> tuple[tuple[str, ...], list[Reason]]:
    """Return the stills among `names`, and one reason: previews beside them are left out, of other clips it is asked.

    Where the clips are the films of live photos, the question says so.
    """
    stills = tuple(name for name in names if name not in clips)
    moving = [name for name in names if name in clips]
    if len(stills) > 1 and all(map(_is_preview, moving)):
        what = "shows what the frames beside it will look like, and was left out"
        return stills, [mended("preview-left-out", what, file=moving[0])]
    if not stills:
        what = f"moves, and so do the others of its part: {listed(moving[1:])}"
        return names[:0], [refuse("clip-among-stills", what, "give each clip a [[part]] of its own", file=moving[0])]
    mend = f'write art = "{_pattern(stills)}" in its [[part]] for the stills, or art = "{moving[0]}" for what moves'
    paired = {_stem(name) for name in stills}
    if all(_stem(name) in paired for name in moving):
        what = f"is the film of a live photo: {_still_of(moving[0], stills)} is its still, and one of them is meant"
        return stills, [refuse("live-photo", what, mend, file=moving[0])]
    what = f"moves, and stands among the stills of its part ({listed(stills)})"
    return stills, [refuse("clip-among-stills", what, mend, file=moving[0])]


def _is_preview(name: str) -> bool:
    return any(word in PurePosixPath(name).stem.lower() for word in PREVIEW)


def _stem(name: str) -> str:
    return str(PurePosixPath(name).with_suffix("")).lower()


def _still_of(film: str, stills: Sequence[str]) -> str:
    return next(name for name in stills if _stem(name) == _stem(film))


def _pattern(stills: Sequence[str]) -> str:
    """Return the pattern of the stills alone; the first still where they have no folder and ending in common."""
    places = {(name.rpartition("/")[0], PurePosixPath(name).suffix) for name in stills}
    if len(stills) == 1 or len(places) > 1:
        return stills[0]
    folder, ending = places.pop()
    return f"{folder}/*{ending}".lstrip("/")
