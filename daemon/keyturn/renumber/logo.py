"""Which picture of a drop is the boot logo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from keyturn.manifest.models import Manifest
from keyturn.normalize.drop_files import DropFiles, listed
from keyturn.normalize.logo_names import is_logo, may_be_logos
from keyturn.normalize.reading.kinds import ENDINGS
from keyturn.normalize.scale_marks import largest
from keyturn.renumber.extra_pictures import extra_pictures
from keyturn.renumber.patterns import matching, of_folder, one_file
from keyturn.shop.reasons import Kind, Reason, mended, only, refuse

WORKING = (*ENDINGS["PSD"], *ENDINGS["SVG"])
"""Endings of files that a drawing is kept in; a picture of another kind beside it was exported from it."""


@dataclass(frozen=True, slots=True)
class JobLogo:
    """The boot logo's `name`, None where frame 1 is the logo. `not_frames` are no frames of a pattern with a star."""

    name: str | None
    not_frames: frozenset[str]
    reasons: tuple[Reason, ...] = ()

    @property
    def told(self) -> frozenset[str]:
        """The files of which the reasons tell what became of them."""
        return self.not_frames if self.reasons else frozenset()


def job_logo(manifest: Manifest, files: Sequence[str], kinds: DropFiles) -> JobLogo:
    """Return the logo that the manifest names; else `logo.*`; else the one picture whose name holds the word logo."""
    called = frozenset(filter(is_logo, files))
    wanted = manifest.logo.art
    if wanted == "first-frame":
        return JobLogo(None, called)
    if wanted is not None:
        name, reasons = one_file(wanted, files, "logo-missing", "name one picture, or first-frame", "logo.art")
        return JobLogo(name, called, tuple(reasons))
    if exact := [name for name in files if is_logo(name) and name in kinds.art]:
        return _chosen(exact, kinds, called, "keep one, or name it under [logo]")
    named = _named_by_parts(manifest, files)
    guesses = [name for name in may_be_logos(sorted(kinds.art)) if name not in named]
    if not guesses:
        return JobLogo(None, called)
    found = _chosen(guesses, kinds, called.union(guesses), 'write which one: [logo], and below it art = "..."')
    if only(found.reasons, Kind.REFUSE):
        return found
    guessed = mended("logo-guessed", "was taken as the boot logo, for its name holds the word logo", file=found.name)
    return JobLogo(found.name, found.not_frames, (guessed, *found.reasons))


def _named_by_parts(manifest: Manifest, files: Sequence[str]) -> frozenset[str]:
    """Return the files that the manifest's parts name one by one: these are frames, or are drawn from."""
    named = {name for part in manifest.part for name in extra_pictures(part)}
    for part in manifest.part:
        names = matching(of_folder(part.art, files) or part.art, files)[0] if part.art else ()
        named.update(names if len(names) == 1 else ())
    return frozenset(named)


def _chosen(found: list[str], kinds: DropFiles, not_frames: frozenset[str], mend: str) -> JobLogo:
    """Return the only logo; or the picture that the others of its name were drawn for; or ask which one is meant."""
    exported = [name for name in found if name not in kinds.not_taken and not _is_working_file(name)] or found
    exported, _ = largest(exported)
    if len(exported) > 1:
        what = f"there are several logos: {', '.join(exported)}"
        return JobLogo(exported[0], not_frames, (refuse("logo-doubled", what, mend, file=exported[0]),))
    left = [name for name in found if name not in exported]
    if not left:
        return JobLogo(exported[0], not_frames)
    what = f"was taken as the boot logo; {listed(left)} beside it was left out"
    return JobLogo(exported[0], not_frames, (mended("logo-chosen", what, file=exported[0]),))


def _is_working_file(name: str) -> bool:
    return PurePosixPath(name).suffix.lower() in WORKING
