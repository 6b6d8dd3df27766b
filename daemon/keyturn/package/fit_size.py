"""An animation that is too large for its radio, made to fit: what costs the eye least comes first, and all is told.

packed harder, to the pixel -> JPEG where the radio takes it, as fine as fits -> frames left out where the
manifest allows it -> refused, with how many frames would fit
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from keyturn.eye.handoff import NOTICEABLE
from keyturn.judge import findings
from keyturn.package import animation, fewer_frames
from keyturn.package.animation import Laid, Piece, Reel
from keyturn.package.recompress import Desk, mib, takes_jpeg
from keyturn.radio.pace import FEWEST_KEPT
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Reason, mended, note

LADDER = (92, 88, 84, 80)
"""Qualities tried. At the last, libjpeg's tables are two fifths of ITU-T T.81's own (annex K); below lies what
that standard itself does not call nearly indistinguishable."""

SAMPLED, WORTH_PACKING = 4, 0.01
"""Measured on 768 x 1024: 5 % of drawn art, up to a third of dithered and hatched, 0.0 to 0.2 % of photographs, at
six times the work."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """The reel, the plan it plays by, and what was done to it."""

    reel: Reel
    plan: Plan
    reasons: tuple[Reason, ...]


def fitted(plan: Plan, plain: Reel, chosen: Reel, so_far: Sequence[Reason], desk: Desk, *, may_thin: bool) -> Fitted:
    """`chosen` where it fits, of which `so_far` tells; `plain` is the same to the pixel, and what JPEG is made from."""
    limit = plan.radio.limits.zip_mib * 2**20
    made, plain, mends = _harder(plan, plain, chosen, desk, limit)
    made, coarser = _lossy(plan, plain, made, desk, limit)
    reasons = [*mends, *(coarser or so_far)]
    if animation.size(plan, made) <= limit:
        return Fitted(made, plan, tuple(reasons))
    places = _as_many_as_fit(plan, made, limit)
    if may_thin and places is not None:
        return _thinned(plan, made, places, reasons)
    fitting = sum(map(len, places)) if places else 0
    reasons += findings.zip_reasons(plan, animation.size(plan, made), fitting)
    return Fitted(made, plan, tuple(reasons))


# -- to the pixel -----------------------------------------------------------------------------------


def _harder(plan: Plan, plain: Reel, chosen: Reel, desk: Desk, limit: float) -> tuple[Reel, Reel, list[Reason]]:
    """Both reels with their PNG files packed as hard as can be, where the chosen one is too large."""
    before = animation.size(plan, chosen)
    if before <= limit:
        return chosen, plain, []
    pieces = list(dict.fromkeys(_pngs(plain)))
    if not _yields(pieces, desk):
        return chosen, plain, []
    successors = desk.successors(pieces, None)
    made, plain = _become(chosen, successors), _become(plain, successors)
    after = animation.size(plan, made)
    if after == before:
        return made, plain, []
    what = f"{_too_large(plan, before)}; packed harder it has {mib(after)}, and no pixel differs"
    return made, plain, [mended("packed-harder", what)]


def _yields(pieces: Sequence[Piece], desk: Desk) -> bool:
    """Would packing harder save anything to speak of? A few pictures tell: grain takes longest and yields nothing."""
    few = pieces[:: 1 + len(pieces) // SAMPLED]
    successors = desk.successors(few, None)
    saved = sum(piece.size - successors.get(piece, piece).size for piece in few)
    return saved > WORTH_PACKING * sum(piece.size for piece in few)


def _pngs(made: Reel) -> list[Piece]:
    return [piece for laid in made for piece in laid.pieces.values() if piece.kind == "png"]


def _become(made: Reel, successors: dict[Piece, Piece]) -> Reel:
    return tuple(laid.become(successors) for laid in made)


def _too_large(plan: Plan, size: int) -> str:
    return f"the animation had {mib(size)} MiB, and {plan.radio.name} takes {plan.radio.limits.zip_mib:g}"


# -- as JPEG ----------------------------------------------------------------------------------------


def _lossy(plan: Plan, plain: Reel, chosen: Reel, desk: Desk, limit: float) -> tuple[Reel, list[Reason]]:
    """The finest of the ladder that fits; the coarsest where none does, for fewer frames must then go."""
    before = animation.size(plan, chosen)
    if before <= limit or not takes_jpeg(plan.radio):
        return chosen, []
    made, quality = chosen, 0
    for quality in LADDER:
        made = _become(plain, desk.successors(_pngs(plain), quality))
        if animation.size(plan, made) <= limit:
            break
    after = animation.size(plan, made)
    return (made, [_told(plan, made, quality, before, after)]) if after < before else (chosen, [])


def _told(plan: Plan, made: Reel, quality: int, before: int, after: int) -> Reason:
    lost = max(piece.lost for laid in made for piece in laid.pieces.values())
    paths = ", ".join(laid.path for laid in made if any(piece.kind == "jpeg" for piece in laid.pieces.values()))
    seen = f"below {NOTICEABLE} none is seen" if lost < NOTICEABLE else f"from {NOTICEABLE} on it can just be seen"
    what = (
        f"{_too_large(plan, before)}; with {paths} as JPEG of quality {quality} it has {mib(after)}: "
        f"the largest colour difference is {lost:.1f}, and {seen}"
    )
    return note("packed-as-jpeg-to-fit", what, "use fewer frames, or calmer, flatter pictures, to keep it as drawn")


# -- fewer frames -----------------------------------------------------------------------------------


def _as_many_as_fit(plan: Plan, made: Reel, limit: float) -> tuple[tuple[int, ...], ...] | None:
    """Which frames of each part to keep, as many as fit; None where not even two a part do."""
    lengths = [len(laid.numbers) for laid in made]
    most = max(lengths)

    def too_large(longest: int) -> bool:
        return animation.size(plan, _only(made, fewer_frames.places(lengths, longest))) > limit

    choices = range(min(FEWEST_KEPT, most), most + 1)
    fitting = bisect_right(choices, False, key=too_large)
    return fewer_frames.places(lengths, choices[fitting - 1]) if fitting else None


def _only(made: Sequence[Laid], places: Sequence[Sequence[int]]) -> Reel:
    return tuple(laid.only(kept) for laid, kept in zip(made, places, strict=True))


def _thinned(plan: Plan, made: Reel, places: tuple[tuple[int, ...], ...], reasons: list[Reason]) -> Fitted:
    thin_reel, thin_plan = _only(made, places), fewer_frames.thinned(plan, places)
    left_out = plan.frame_count - thin_plan.frame_count
    rate = f" and it plays at {thin_plan.fps} instead of {plan.fps} fps" if thin_plan.fps != plan.fps else ""
    what = f"{_too_large(plan, animation.size(plan, made))}; {left_out} frames were left out, evenly{rate}"
    after = f": it has {mib(animation.size(thin_plan, thin_reel))} MiB"
    told = note("thinned-to-fit", what + after, "use calmer, flatter pictures to keep every frame")
    return Fitted(thin_reel, thin_plan, (*reasons, told))


# -- the logo ---------------------------------------------------------------------------------------


def fitted_logo(plan: Plan, data: bytes, desk: Desk) -> tuple[bytes, list[Reason]]:
    """The logo's file, packed harder where it is larger than the radio takes. A PNG stays one: its name says so."""
    most = plan.radio.logo.max_kib * 1024
    piece = desk.store.add(data)
    if piece.size <= most or piece.kind != "png":
        return data, []
    smaller = desk.successors([piece], None).get(piece)
    if smaller is None:
        return data, []
    what = f"the logo had {piece.size / 1024:,.0f} KiB, and {plan.radio.name} takes {plan.radio.logo.max_kib:g}"
    told = mended(
        "logo-packed-harder", f"{what}; packed harder it has {smaller.size / 1024:,.0f}, and no pixel differs"
    )
    return desk.store.read(smaller), [told]
