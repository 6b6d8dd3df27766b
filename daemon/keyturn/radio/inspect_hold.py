"""What in an archive can keep the home screen, and the reversing camera with it, after the boot."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from keyturn.radio.archive import DESC, PartSeen
from keyturn.radio.boot import BootModel
from keyturn.radio.desc import Desc
from keyturn.radio.home_screen import UNNOTICED_S, worst_delay_ever_s, worst_delay_s
from keyturn.radio.pacing import Pacing, PlayedPart, pacing_of
from keyturn.shop.player_facts import PlayerFacts
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, note, refuse
from keyturn.shop.rulebook import CAMERA_S


def worst_delay(desc: Desc, parts: Sequence[PartSeen], radio: Radio | None, facts: PlayerFacts) -> float:
    """Return the longest time in seconds for which the home screen can wait; infinite where it may never appear.

    Of a radio whose boot times are known only these are tried, of others every boot.
    """
    if not parts:
        return 0.0
    played, pacing = [part.taken for part in parts], _pacing(desc, radio, facts)
    ever_s = worst_delay_ever_s(played, pacing)
    if radio is None or math.isinf(ever_s):
        return ever_s
    shortest_s, _, longest_s = BootModel.of_radio(radio).spread
    return worst_delay_s(played, pacing, shortest_s, longest_s)


def hold_reasons(
    parts: Sequence[PartSeen], radio: Radio | None, delay_s: float, camera_s: float = CAMERA_S
) -> Iterator[Reason]:
    """Yield what holds the screen for `delay_s` (see `worst_delay`), in plain words.

    More than `camera_s` is refused where a camera needs the screen.
    """
    if math.isinf(delay_s):
        yield _never(parts)
    elif delay_s > UNNOTICED_S:
        finding = refuse if delay_s > camera_s and (radio is None or radio.screen.shows_camera) else note
        cause, mend = _cause(parts)
        what = f"the home screen, and the reversing camera with it, can come {delay_s:.1f} s late: {cause}"
        yield finding("home-screen-held", what, mend, file=DESC)


def _pacing(desc: Desc, radio: Radio | None, facts: PlayerFacts) -> Pacing:
    return pacing_of(radio, facts, desc.fps) if radio else pacing_of_any(desc, facts)


def pacing_of_any(desc: Desc, facts: PlayerFacts) -> Pacing:
    """Return the times of a player on an unknown radio: as if pictures were decoded and drawn at once."""
    killed, check = facts.boot_end == "killed", facts.pause_check_ms
    return Pacing(desc.fps, facts.pacing, killed=killed, pause_check_ms=check)


def _never(parts: Sequence[PartSeen]) -> Reason:
    for part in parts:
        if part.row.count == 0 and not part.frames:
            what = (
                f"{part.row.path} repeats until booted and has no frame that can be shown: "
                "the radio never gets past it, and the home screen may never appear"
            )
            return refuse("screen-never-released", what, "give the part a frame, or take the row out", file=DESC)
    what = "a c part after a part that fades is never left: the home screen may never appear"
    return refuse("screen-never-released", what, "write p instead of c, or of f", file=DESC)


def _cause(parts: Sequence[PartSeen]) -> tuple[str, str]:
    """Return what holds the screen longest, and how to mend it."""
    longest = max(parts, key=lambda part: _plain_pause(part.taken))
    must = next((part.row for part in parts if part.row.type == "c" and part.frames), None)
    fades = next((part.row for part in parts if part.row.fade), None)
    if must is not None:
        return f"{must.path} is of type c and plays to its end whatever the boot does", "write p"
    if longest.row.pause > 0:
        endless = ", which repeats," if longest.row.count == 0 else ""
        return f"the pause of {longest.row.path}{endless} is not cut short when the radio has booted", "shorten it"
    if fades is not None:
        return f"{fades.path} fades for {fades.fade} frames after the boot", "give it a smaller fade number"
    return "a frame stands so long", "raise the rate"


def _plain_pause(part: PlayedPart) -> int:
    return part.pause * (2 if part.count != 1 else 1)
