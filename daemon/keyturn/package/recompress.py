"""Pieces of a reel made anew, smaller, by the crew; photographs as JPEG where the radio takes it and no eye sees it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from keyturn.eye.handoff import NOTICEABLE
from keyturn.package.animation import Laid, Piece, Reel, Store, Take
from keyturn.package.repack import Recode, recode
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, Refused, note
from keyturn.workers.crew import Crew

QUALITY = 92
"""At it libjpeg's tables are a sixth of those in ITU-T T.81, annex K, of which K.1 says that a half usually gives
a picture nearly indistinguishable from the original. What is lost is measured on every picture all the same."""

WORTH = 0.30
"""A part becomes JPEG where that saves more than this share of it."""

SIXTEEN = 16


@dataclass(frozen=True, slots=True)
class Desk:
    """What pieces are made anew with. `tick` is called after each, and may raise to stop the work."""

    store: Store
    crew: Crew
    takes: Mapping[int, Take]
    tick: Callable[[], None]

    def successors(self, pieces: Iterable[Piece], quality: int | None) -> dict[Piece, Piece]:
        """For each piece that becomes smaller its successor. One that cannot be made anew stays as it is."""
        names = {piece: take.name for take in self.takes.values() for piece in (take.whole, take.cropped) if piece}
        distinct = list(dict.fromkeys(pieces))
        jobs = (Recode(self.store.read(piece), quality, names.get(piece, "")) for piece in distinct)
        made: dict[Piece, Piece] = {}
        for piece, result in zip(distinct, self.crew.run(recode, jobs, lambda job: job.name), strict=True):
            self.tick()
            if not isinstance(result, Refused) and len(result.data) < piece.size:
                made[piece] = self.store.add(result.data, piece.cut, result.lost)
        return made


def takes_jpeg(radio: Radio) -> bool:
    """May some frames be JPEG and some PNG? On a 16-bit panel none may: JPEG would undo the dithering."""
    return {"png", "jpeg"} <= set(radio.firmware.frame_formats) and radio.panel.bits != SIXTEEN


def photographs(reel: Reel, desk: Desk, radio: Radio, kept: int | None) -> tuple[Reel, list[Reason]]:
    """Parts that are mostly photographs as JPEG, all their pictures or none, and a note on each.

    A picture stays what it was where it first stood, so that a hold is the last frame's own file. The picture
    `kept` stays as it is: frame 1, where it equals the logo.
    """
    if not takes_jpeg(radio):
        return reel, []
    made: list[Laid] = []
    known: dict[Piece, Piece] = {}
    reasons: list[Reason] = []
    for laid in reel:
        fresh = [piece for n, piece in laid.pieces.items() if n != kept and piece not in known]
        if fresh and _is_photographic(laid, desk.takes):
            successors = desk.successors(fresh, QUALITY)
            if _unseen(successors, fresh) and _saved(laid, successors) > WORTH:
                known |= successors
                reasons.append(_told(laid, laid.become(known), successors))
        known |= {piece: piece for piece in fresh if piece not in known}
        made.append(laid.become(known))
    return tuple(made), reasons


def _is_photographic(laid: Laid, takes: Mapping[int, Take]) -> bool:
    photographic = sum(takes[n].photographic for n in laid.numbers)
    return laid.ground is None and 2 * photographic > len(laid.numbers)


def _unseen(successors: Mapping[Piece, Piece], pieces: list[Piece]) -> bool:
    return len(successors) == len(pieces) and max(piece.lost for piece in successors.values()) < NOTICEABLE


def _saved(laid: Laid, successors: Mapping[Piece, Piece]) -> float:
    return 1 - laid.become(successors).size / laid.size


def _told(before: Laid, after: Laid, successors: Mapping[Piece, Piece]) -> Reason:
    lost = max(piece.lost for piece in successors.values())
    what = (
        f"the photographs of {before.path} were packed as JPEG of quality {QUALITY}: {mib(after.size)} MiB instead of "
        f"{mib(before.size)}; the largest colour difference is {lost:.1f}, and below {NOTICEABLE} none is seen"
    )
    return note("packed-as-jpeg", what)


def mib(size: float) -> str:
    return f"{size / 2**20:.1f}" if size >= 2**20 / 10 else f"{size / 2**20:.3f}"
