"""Whether a drop ends the service, or the power only failed while the drop was in hand.

A drop counts its tries before each of them, so a count that was not taken back is an abrupt end. After the second one
the drop goes last: others have their turn first. What is noted beside it (`Claim.others_through`, `others_ended`) tells
whether the others went through meanwhile. Pictures are read in workers, whose deaths cost a reason at once: what kills
the service itself is mostly not the drop.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from loguru import logger

from keyturn.service.claims import Claim, read_record, write_record

GOES_LAST = 2
"""A drop goes last after so many abrupt ends."""

MOST_ALONE = 3
"""A drop is refused after so many abrupt ends that it met alone: since the end before, others went through."""

FIRST_WAIT_S, LONGEST_WAIT_S = 3.0, 3600.0
"""A drop that goes last waits so long after the service's start, in seconds: after each further end twice as long. So a
drop that kills the service at once, alone in the shop, ends it 9 times in ten minutes, and the unit allows 10 starts.
"""


def count_try(work: Path, claim: Claim) -> Claim:
    """Add one to the claim's tries, on disk, and return the claim with the new count.

    Call it before each try: a drop that kills the service is recognised by its count. `work` is the shop's folder.
    """
    tried = claim.model_copy(update={"tries": claim.tries + 1})
    write_record(work / claim.id / "claim.json", tried)
    return tried


def uncount_try(work: Path, claim: Claim) -> None:
    """Take one off the claim's tries: the last one failed, but not because of the drop."""
    path = work / claim.id / "claim.json"
    current = read_record(path, Claim)
    if current is not None and current.tries:
        write_record(path, current.model_copy(update={"tries": current.tries - 1}))


def goes_last(claim: Claim) -> bool:
    return claim.tries >= GOES_LAST


def is_to_blame(claim: Claim) -> bool:
    """Tell whether the drop, and not the power, ended the service: alone too often, and others went through."""
    alone = set(claim.others_through) - set(claim.others_ended)
    return sum(GOES_LAST <= count < claim.tries for count in alone) >= MOST_ALONE


def next_in_turn(pending: list[Claim]) -> Claim | None:
    """Take the first drop out of `pending` that need not go last."""
    return _take(pending, (claim for claim in pending if not goes_last(claim)))


def next_of_the_last(pending: list[Claim], running_s: float) -> Claim | None:
    """Take the drop with the fewest abrupt ends out of `pending`, all of which go last.

    Return None where its wait is not over. `running_s` is how long the service has run, in seconds.
    """
    waited = [claim for claim in sorted(pending, key=lambda claim: claim.tries) if running_s >= wait_s(claim)]
    return _take(pending, waited)


def _take(pending: list[Claim], wanted: Iterable[Claim]) -> Claim | None:
    claim = next(iter(wanted), None)
    if claim is not None:
        pending.remove(claim)
    return claim


def wait_s(claim: Claim) -> float:
    """Return how long a drop that goes last waits after the service's start, in seconds."""
    return float(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(claim.tries - GOES_LAST, 20)))


def note_other_through(work: Path, waiting: Iterable[Claim]) -> None:
    """Note beside each drop that goes last that another one went through."""
    for claim in filter(goes_last, waiting):
        try:
            _note(work, claim, "others_through")
        except OSError as error:
            logger.warning("{}: could not note that another drop went through: {}", claim.name, error)


def note_other_ends(work: Path, claims: tuple[Claim, ...]) -> None:
    """Note beside each drop that goes last where another one, which never did, has ended abruptly as well.

    That one has had its turn since the last end of those that go last. `claims` are the drops in work after a kill.
    """
    for claim in filter(goes_last, claims):
        if any(0 < other.tries <= GOES_LAST for other in claims if other.id != claim.id):
            _note(work, claim, "others_ended")


def _note(work: Path, claim: Claim, field: str) -> None:
    path = work / claim.id / "claim.json"
    current = read_record(path, Claim)
    if current is not None and current.tries not in getattr(current, field):
        noted = (*getattr(current, field), current.tries)
        write_record(path, current.model_copy(update={field: noted}))
