"""The flash check over an animation as the radio will show it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.flash_check import FlashCheck, Picture
from keyturn.eye.screen import Screen
from keyturn.radio.pacing import Pacing, PlayedPart, pacing_of
from keyturn.radio.timeline import Timeline
from keyturn.renumber.plan import Plan
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Exhibits, Reason, note, refuse
from keyturn.shop.records import FlashRecord
from keyturn.shop.rulebook import Flash

SHORTEST_BLACK_S = 1 / 60
"""A black picture before frame 1 stands while frame 1 is decoded, at least for a refresh of the panel at 60 Hz."""

CellsOf = Callable[[int], NDArray[np.uint16]]
"""Gives the cells of picture `number`: (rows, columns, 3) in linear light, 1.0 scaled to 65535."""

PixelsOf = Callable[[int], NDArray[np.uint8]]
"""Gives the pixels of picture `number`: (height, width, 3) in sRGB. It is asked only where cells cannot decide."""

LOGO_STANDS_S = 2.0
"""How long the logo is taken to stand before frame 1; only that it is longer than a second matters."""

LOOP_PLAYS = 3
"""A loop is judged over its first play and two later ones, which are quicker: nothing is decoded any more. So its last
picture is followed by its first at the quicker pace too."""

AFTER_LOOP_S = 1.5
"""The check goes on for this long after the last play: longer than the one second in which flashes are counted."""


LOGO, BLACK = (-1, 0), (-2, 0)
"""The places of what is shown before the first frame."""

BLACK_NUMBER = -1

Place = tuple[int, int]
"""A part and a frame of it, counted from 0; `LOGO`; or `BLACK`."""

NumberAt = Callable[[Place], int | None]
"""Gives the number of the picture at a place; None while it is not known. The black one's is `BLACK_NUMBER`."""


@dataclass(frozen=True, slots=True)
class PictureNumbers:
    """`logo` and `parts[p][f]`, frame f of part p, are numbers of distinct pictures."""

    logo: int
    parts: tuple[tuple[int, ...], ...]

    def at(self, place: Place) -> int:
        """Return the number of the picture at a place."""
        part, frame = place
        return self.parts[part][frame] if part >= 0 else self.logo if place == LOGO else BLACK_NUMBER


@dataclass(frozen=True, slots=True)
class NumberedPicture:
    """Picture `number` of the animation."""

    number: int
    cells_of: CellsOf
    pixels_of: PixelsOf | None

    def cells(self) -> NDArray[np.uint16]:
        return self.cells_of(self.number)

    def pixels(self) -> NDArray[np.uint8] | None:
        return self.pixels_of(self.number) if self.pixels_of else None


@dataclass(frozen=True, slots=True)
class _Black:
    screen: Screen

    def cells(self) -> NDArray[np.uint16]:
        return np.zeros((*self.screen.shape, 3), np.uint16)

    def pixels(self) -> NDArray[np.uint8]:
        return np.zeros((self.screen.height_px, self.screen.width_px, 3), np.uint8)


def flash_record(
    plan: Plan, numbers: PictureNumbers, cells: CellsOf, rules: Flash, pixels: PixelsOf | None = None
) -> FlashRecord:
    """Check the logo and then every part in all its plays, endless parts across their seam.

    Where the radio's generation is a guess, the result is that of the generation on which it flashes most. Without
    `pixels`, areas are estimated from the cells.
    """
    return FlashAhead(plan, rules).record(numbers, cells, pixels)


class FlashAhead:
    """The check of `flash_record`, which can begin while pictures of the plan are still being made."""

    def __init__(self, plan: Plan, rules: Flash) -> None:
        self._plan, self._screen = plan, Screen.of(plan.radio.panel, rules)
        self._players = [(each, _Showing(plan, each), FlashCheck(self._screen, rules)) for each in players(plan)]

    def go_on(self, number_at: NumberAt, cells: CellsOf, most: int | None = None) -> None:
        """Check the pictures that come next as far as they are known: of each player at most `most`, None for all."""
        for _, showing, check in self._players:
            for at_s, number, seam in islice(showing.known(number_at), most):
                check.show(at_s, _picture(number, cells, None, self._screen), seam)

    def record(self, numbers: PictureNumbers, cells: CellsOf, pixels: PixelsOf | None = None) -> FlashRecord:
        """Check what is left, and return the result."""
        self.go_on(numbers.at, cells)

        def found(player: Beats, check: FlashCheck) -> FlashRecord:
            return check.record(lambda: shown(self._plan, numbers, player, cells, pixels, self._screen))

        return max((found(player, check) for player, _, check in self._players), key=_badness)


@dataclass(frozen=True, slots=True)
class Beats:
    """What of a player the check depends on."""

    pacing: Pacing
    black_first: bool


def players(plan: Plan) -> tuple[Beats, ...]:
    """Return each way in which the radio may play: one, unless its generation is a guess, or films have measured that
    plain frames are decoded quicker than detailed ones."""
    found = []
    for facts in plan.radio.player.candidates:
        # when a pause is broken off at the end of the boot does not matter: the check lets the boot never end
        pacing = replace(pacing_of(plan.radio, facts, plan.fps), pause_check_ms=0)
        found += [Beats(each, facts.black_first) for each in (pacing, _of_plain_frames(pacing, plan.radio))]
    return tuple(dict.fromkeys(found))


def _of_plain_frames(pacing: Pacing, radio: Radio) -> Pacing:
    """Return the pacing of frames that are decoded as quickly as the plain ones on film."""
    plain_ms = radio.filmed.plain_ms if radio.filmed else None
    if plain_ms is None:
        return pacing
    return replace(pacing, cost_s=min(pacing.cost_s, (plain_ms + radio.limits.draw_ms) / 1000))


def _badness(record: FlashRecord) -> tuple[bool, int, float]:
    return not record.passes, max(record.general_max_per_s, record.red_max_per_s), record.field_share


def shown(
    plan: Plan, numbers: PictureNumbers, player: Beats, cells: CellsOf, pixels: PixelsOf | None, screen: Screen
) -> Iterator[tuple[float, Picture]]:
    """Yield each change of the picture: the logo, a black picture on some players, and the frames."""
    for at_s, number, _ in _Showing(plan, player).known(numbers.at):
        yield at_s, _picture(number, cells, pixels, screen)


def _picture(number: int, cells: CellsOf, pixels: PixelsOf | None, screen: Screen) -> Picture:
    return _Black(screen) if number == BLACK_NUMBER else NumberedPicture(number, cells, pixels)


class _Showing:
    """Each change of the picture on one player, in order, and how far it has come."""

    def __init__(self, plan: Plan, player: Beats) -> None:
        self._places = _places(plan, player)
        self._next = next(self._places, None)
        self._standing: int | None = None
        self._seam: int | None = None

    def known(self, number_at: NumberAt) -> Iterator[tuple[float, int, int | None]]:
        """Yield each change that is left, up to one whose picture is not known yet: seconds, number and seam.

        The seam is the part's number where a later play of it begins: from there each later play shows the same.
        """
        while self._next is not None and (number := number_at(self._next[1])) is not None:
            at_s, (part, frame), play = self._next
            self._seam = part if play and frame == 0 else self._seam
            self._next = next(self._places, None)
            if number != self._standing:
                self._standing, seam, self._seam = number, self._seam, None
                yield at_s, number, seam


def _places(plan: Plan, player: Beats) -> Iterator[tuple[float, Place, int]]:
    """Yield what is shown, picture by picture: the seconds at which it appears, its place, and the part's play."""
    yield -LOGO_STANDS_S, LOGO, 0
    if player.black_first:
        yield -max(player.pacing.work_s, SHORTEST_BLACK_S), BLACK, 0
    pacing = player.pacing
    parts = tuple(part.played for part in plan.parts)
    once_s = Timeline(parts, pacing, 0.0).once_only_end_s
    loop_s = max((_play_s(part, pacing) for part in parts if part.count == 0), default=0.0)
    until_s = once_s + LOOP_PLAYS * loop_s + AFTER_LOOP_S
    for picture in Timeline(parts, replace(pacing, killed=False), until_s + 3600).shown(until_s):
        if not picture.pausing:
            yield picture.start_s, (picture.part, picture.frame), picture.play


def _play_s(part: PlayedPart, pacing: Pacing) -> float:
    """Return the seconds that the first play of the part and its pause take."""
    return part.frames * pacing.interval_s + pacing.pause_s(part.pause)


def flash_reasons(
    record: FlashRecord, rules: Flash, exhibits: Exhibits = (), calmer: str | None = None
) -> list[Reason]:
    """Return the finding where the animation flashes too often: a refusal or a note, as the shop's rules say.

    `exhibits` show where; `calmer` says at which rate it does not.
    """
    if record.passes:
        return []
    finding = refuse if rules.on_failure == "refuse" else note
    kinds = [
        f"{count} {kind} flashes"
        for kind, count in (("general", record.general_max_per_s), ("red", record.red_max_per_s))
        if count > rules.most_per_second
    ]
    what = (
        f"{' and '.join(kinds)} within one second at {record.worst_at_s:.1f} s; "
        f"at most {rules.most_per_second} are allowed"
    )
    gentler = "make the change slower, smaller or gentler there (WCAG 2.2, 2.3.1)"
    mend = f"{gentler}; or, to play it all slower, {calmer}" if calmer else gentler
    return [finding("flashes", what, mend, exhibits=exhibits)]
