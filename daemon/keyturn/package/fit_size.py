"""An animation made smaller: photographs as JPEG where no eye sees it, and what is too large for its radio made to fit.

What costs the eye least comes first, and all is told: packed harder, to the pixel -> JPEG where the radio takes it, as
fine as fits -> frames left out where the manifest allows it -> refused, with how many frames would fit. A few files
tell first whether such work can help; what cannot is not done.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from keyturn.eye.cielab import NOTICEABLE
from keyturn.judge.sizes import zip_reasons
from keyturn.package import animation
from keyturn.package.animation import Animation, PackedPart, StoredFile
from keyturn.package.smaller import Smaller
from keyturn.radio.pace import FEWEST_KEPT, thin
from keyturn.renumber.plan import Plan
from keyturn.renumber.thinning import thinned
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, mended, note
from keyturn.shop.units import MIB, readable_size

PHOTOGRAPH_QUALITY = 92
"""At it libjpeg's tables are a sixth of those in ITU-T T.81, annex K, of which K.1 says that a half usually gives
a picture nearly indistinguishable from the original. What is lost is measured on every picture all the same."""

LEAST_SAVED = 0.30
"""A part becomes JPEG where that saves more than this share of its bytes."""

QUALITIES = (92, 88, 84, 80)
"""Qualities tried. At the last, libjpeg's tables are two fifths of ITU-T T.81's own (annex K); below lies what
that standard itself does not call nearly indistinguishable."""

WORTH_PACKING = 0.01
"""Least share that harder packing must save of a sample. Measured on 768 x 1024: it saves 5 % of drawn art, up to a
third of dithered and hatched, 0.0 to 0.2 % of photographs, at six times the work; grain takes longest."""

WORTH_FOR_FEWER = 0.15
"""Least share where harder packing alone cannot make it fit: so many more of the frames can then stay."""


# -- photographs as JPEG ----------------------------------------------------------------------------


def takes_jpeg(radio: Radio) -> bool:
    """May some frames be JPEG and some PNG? On a 16-bit panel none may: JPEG would undo the dithering."""
    return {"png", "jpeg"} <= set(radio.firmware.frame_formats) and radio.panel.bits == 24


def photographs_as_jpeg(
    plan: Plan, plain: Animation, unchanged: int | None, smaller: Smaller
) -> tuple[Animation, list[Reason]]:
    """Return the animation with parts that are mostly photographs as JPEG, and a note on each such part.

    A part changes with all its pictures or not at all. A picture keeps the file it first had, so that a hold is the
    last frame's own file. Picture `unchanged` keeps its PNG: frame 1, where it equals the logo.
    """
    if not takes_jpeg(plan.radio):
        return plain, []
    parts: list[PackedPart] = []
    known: dict[StoredFile, StoredFile] = {}
    reasons: list[Reason] = []
    for index, part in enumerate(plain):
        fresh = [file for n, file in part.files.items() if n != unchanged and file not in known]
        if fresh and _is_photographic(part):
            successors = smaller.successors(fresh, PHOTOGRAPH_QUALITY)
            if _unseen(successors, fresh) and 1 - part.with_files(successors).size / part.size > LEAST_SAVED:
                known |= successors
                reasons.append(_jpeg_note(plan.part_in_words(index), part, part.with_files(known), successors))
        known |= {file: file for file in fresh if file not in known}
        parts.append(part.with_files(known))
    return tuple(parts), reasons


def _is_photographic(part: PackedPart) -> bool:
    photographic = sum(part.files[n].photographic for n in part.numbers)
    return part.ground is None and 2 * photographic > len(part.numbers)


def _unseen(successors: Mapping[StoredFile, StoredFile], files: Sequence[StoredFile]) -> bool:
    return len(successors) == len(files) and max(file.lost for file in successors.values()) < NOTICEABLE


def _jpeg_note(name: str, before: PackedPart, after: PackedPart, successors: Mapping[StoredFile, StoredFile]) -> Reason:
    lost = max(file.lost for file in successors.values())
    what = (
        f"the photographs of {name} were packed as JPEG of quality {PHOTOGRAPH_QUALITY}: "
        f"{readable_size(after.size)} instead of {readable_size(before.size)}; "
        f"the largest colour difference is {lost:.1f}, and below {NOTICEABLE} none is seen"
    )
    return note("packed-as-jpeg", what)


# -- too large for the radio ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fitted:
    """The animation, the plan it plays by, and what was done to it."""

    animation: Animation
    plan: Plan
    reasons: tuple[Reason, ...]


def fitted(plan: Plan, plain: Animation, unchanged: int | None, smaller: Smaller, *, may_thin: bool) -> Fitted:
    """Return the animation as small as the radio needs it, `plain` being the same to the pixel.

    Where nothing makes it fit, one of the reasons refuses it.
    """
    limit = plan.radio.limits.zip_mib * MIB
    chosen, jpeg_notes = photographs_as_jpeg(plan, plain, unchanged, smaller)
    made, plain, reasons, packed = _packed_harder(plan, plain, chosen, smaller, may_thin=may_thin)
    made, coarser, as_jpeg = _as_jpeg(plan, plain, made, smaller, may_thin=may_thin)
    reasons += coarser or jpeg_notes
    if animation.size(plan, made) <= limit:
        return Fitted(made, plan, tuple(reasons))
    places = _places_that_fit(plan, made, limit / min(packed, as_jpeg))
    if may_thin and places is not None:
        return _thinned(plan, made, places, reasons)
    fitting = sum(map(len, places)) if places else 0
    reasons += zip_reasons(plan, round(animation.size(plan, made) * min(packed, as_jpeg)), fitting)
    return Fitted(made, plan, tuple(reasons))


def _packed_harder(
    plan: Plan, plain: Animation, chosen: Animation, smaller: Smaller, *, may_thin: bool
) -> tuple[Animation, Animation, list[Reason], float]:
    """Return both animations with their PNG files packed as hard as can be, where the chosen one is too large.

    Where that cannot help they come back as they are, with the share of its size that the chosen one would have.
    """
    before, limit = animation.size(plan, chosen), plan.radio.limits.zip_mib * MIB
    files = list(dict.fromkeys(_pngs(plain)))
    if before <= limit or not files:
        return chosen, plain, [], 1.0
    outlook = smaller.outlook(files, None)
    if outlook.saved <= WORTH_PACKING:
        return chosen, plain, [], 1.0
    if not outlook.may_save(_missing_share(chosen, before - limit)):
        if takes_jpeg(plan.radio) or outlook.saved < WORTH_FOR_FEWER:
            return chosen, plain, [], 1.0
        if not may_thin:
            return chosen, plain, [], 1 - outlook.saved
    successors = smaller.successors(files, None)
    made, plain = _with_files(chosen, successors), _with_files(plain, successors)
    after = animation.size(plan, made)
    if after == before:
        return made, plain, [], 1.0
    what = f"{_too_large(plan, before)}; packed harder it has {readable_size(after)}, and no pixel differs"
    return made, plain, [mended("packed-harder", what)], 1.0


def _missing_share(made: Animation, bytes_missing: float) -> float:
    """Return which share of their bytes the PNG files must save. A picture that plays twice lies in the zip twice."""
    files = (part.files[number] for part in made for number in part.numbers)
    return bytes_missing / max(1, sum(file.size for file in files if file.kind == "png"))


def _pngs(made: Animation) -> list[StoredFile]:
    return [file for part in made for file in part.files.values() if file.kind == "png"]


def _with_files(made: Animation, successors: dict[StoredFile, StoredFile]) -> Animation:
    return tuple(part.with_files(successors) for part in made)


def _too_large(plan: Plan, size: int) -> str:
    return f"the animation had {readable_size(size)}, and {plan.radio.name} takes {plan.radio.limits.zip_mib:g} MiB"


def _as_jpeg(
    plan: Plan, plain: Animation, chosen: Animation, smaller: Smaller, *, may_thin: bool
) -> tuple[Animation, list[Reason], float]:
    """Return the finest quality that fits; the coarsest where none does, for fewer frames must then go.

    Where even that cannot fit, and no frame may go, it comes back as it is, with the share of its size that it would
    have.
    """
    before, limit = animation.size(plan, chosen), plan.radio.limits.zip_mib * MIB
    if before <= limit or not takes_jpeg(plan.radio):
        return chosen, [], 1.0
    files = list(dict.fromkeys(_pngs(plain)))
    coarsest = smaller.outlook(files, QUALITIES[-1])
    qualities: Sequence[int] = QUALITIES
    if not coarsest.may_save(_missing_share(plain, animation.size(plan, plain) - limit)):
        if not may_thin:
            return chosen, [], min(1.0, animation.size(plan, plain) * (1 - coarsest.saved) / before)
        qualities = QUALITIES[-1:]
    made, quality = chosen, 0
    for quality in qualities:
        made = _with_files(plain, smaller.successors(files, quality))
        if animation.size(plan, made) <= limit:
            break
    after = animation.size(plan, made)
    return (made, [_coarser_note(plan, made, quality, before, after)], 1.0) if after < before else (chosen, [], 1.0)


def _coarser_note(plan: Plan, made: Animation, quality: int, before: int, after: int) -> Reason:
    lost = max(file.lost for part in made for file in part.files.values())
    lossy = [index for index, part in enumerate(made) if any(file.kind == "jpeg" for file in part.files.values())]
    names = ", ".join(map(plan.part_in_words, lossy))
    seen = f"below {NOTICEABLE} none is seen" if lost < NOTICEABLE else f"from {NOTICEABLE} on it can just be seen"
    what = (
        f"{_too_large(plan, before)}; with {names} as JPEG of quality {quality} it has {readable_size(after)}: "
        f"the largest colour difference is {lost:.1f}, and {seen}"
    )
    return note("packed-as-jpeg-to-fit", what, "use fewer frames, or calmer, flatter pictures, to keep it as drawn")


# -- fewer frames -----------------------------------------------------------------------------------

Places = tuple[tuple[int, ...], ...]
"""Of each part the indexes of the frames that stay."""


def places(lengths: Sequence[int], longest: int) -> Places:
    """Return which frames of each part stay where the longest part keeps `longest`: the same share of all, evenly."""
    most = max(lengths)
    return tuple(thin(n, max(min(FEWEST_KEPT, n), n * longest // most)) for n in lengths)


def _places_that_fit(plan: Plan, made: Animation, limit: float) -> Places | None:
    """Return the frames to keep, as many as fit; None where not even two a part do."""
    lengths = [len(part.numbers) for part in made]
    most = max(lengths)

    def too_large(longest: int) -> bool:
        return animation.size(plan, _only(made, places(lengths, longest))) > limit

    choices = range(min(FEWEST_KEPT, most), most + 1)
    fitting = bisect_right(choices, False, key=too_large)
    return places(lengths, choices[fitting - 1]) if fitting else None


def _only(made: Animation, kept: Places) -> Animation:
    return tuple(part.only(stay) for part, stay in zip(made, kept, strict=True))


def _thinned(plan: Plan, made: Animation, kept: Places, reasons: list[Reason]) -> Fitted:
    thin_animation, thin_plan = _only(made, kept), thinned(plan, kept)
    left_out = plan.frame_count - thin_plan.frame_count
    rate = f", and it plays at {thin_plan.fps} instead of {plan.fps} fps" if thin_plan.fps != plan.fps else ""
    what = f"{_too_large(plan, animation.size(plan, made))}; {left_out} frames were left out, evenly{rate}"
    after = f": it has {readable_size(animation.size(thin_plan, thin_animation))}"
    told = note("thinned-to-fit", what + after, "use calmer, flatter pictures to keep every frame")
    return Fitted(thin_animation, thin_plan, (*reasons, told))


# -- the logo ---------------------------------------------------------------------------------------


def fitted_logo(plan: Plan, data: bytes, smaller: Smaller) -> tuple[bytes, list[Reason]]:
    """Return the logo's file, packed harder where it is larger than the radio takes. A PNG stays a PNG."""
    most = plan.radio.logo.max_kib * 1024
    file = smaller.store.add(data)
    if file.size <= most or file.kind != "png":
        return data, []
    less = smaller.successors([file], None).get(file)
    if less is None:
        return data, []
    what = f"the logo had {file.size / 1024:,.0f} KiB, and {plan.radio.name} takes {plan.radio.logo.max_kib:g}"
    told = mended("logo-packed-harder", f"{what}; packed harder it has {less.size / 1024:,.0f}, and no pixel differs")
    return smaller.store.read(less), [told]
