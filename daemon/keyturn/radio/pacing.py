"""The times of a player: how long each frame stands, and how long a pause lasts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from keyturn.radio.desc import PartType
from keyturn.radio.player_loop import Rhythm
from keyturn.shop.player_facts import PlayerFacts
from keyturn.shop.radio_profile import Radio

SECOND = 1_000_000_000
MICROSECOND = 1_000
MILLISECOND = 1_000_000


def in_ns(seconds: float) -> int:
    """Return whole nanoseconds."""
    return round(seconds * SECOND)


@dataclass(frozen=True, slots=True)
class PlayedPart:
    """A row as it plays: `count` plays (0: until booted) of `frames` frames, `pause` after each play.

    `fade` is how many frames an `f` row plays on after the boot, on players that fade.
    """

    type: PartType
    count: int
    pause: int
    frames: int
    fade: int = 0

    def __post_init__(self) -> None:
        if min(self.frames, self.count, self.pause, self.fade) < 0:
            raise ValueError(f"{self}: frames, count, pause and fade cannot be below 0")


@dataclass(frozen=True, slots=True)
class Pacing:
    """How a player times frames.

    `cost_s` is the time to decode and draw a frame, which each frame takes in its part's first play. `later_cost_s` is
    its time in later plays, where the picture is there already; None is the same. First-generation players wait a
    frame's time after that work (additive); later ones keep a fixed beat. `killed`: the player is ended when the boot
    is over. With `pause_check_ms` a pause is broken off then, at the next whole number of such steps.
    """

    fps: int
    mode: Literal["additive", "fixed-beat"]
    cost_s: float = 0.0
    pause_unit: Literal["frames", "seconds"] = "frames"
    later_cost_s: float | None = None
    killed: bool = False
    pause_check_ms: int = 0

    def __post_init__(self) -> None:
        if self.fps < 1 or not 0 <= self.cost_s < math.inf:
            raise ValueError(f"fps {self.fps} must be at least 1 and the cost {self.cost_s} s finite, not below 0")
        if self.later_cost_s is not None and not 0 <= self.later_cost_s <= self.cost_s:
            raise ValueError(f"a later play's cost {self.later_cost_s} s must not be above {self.cost_s} s or below 0")

    @property
    def frame_ns(self) -> int:
        """A frame's time, rounded down to whole nanoseconds as the player's integer division does."""
        return SECOND // self.fps

    @property
    def _frame_us_ns(self) -> int:
        """A frame's time rounded down to whole microseconds, in which the player sleeps; in nanoseconds."""
        return self.frame_ns // MICROSECOND * MICROSECOND

    @property
    def rhythm(self) -> Rhythm:
        """The times of the player's loop."""
        first = in_ns(self.cost_s)
        later = first if self.later_cost_s is None else in_ns(self.later_cost_s)
        check = self.pause_check_ms * MILLISECOND
        return Rhythm(self._beat(first), self._beat(later), first, later, check, self.killed)

    def _beat(self, work: int) -> int:
        return self._frame_us_ns + work if self.mode == "additive" else max(self.frame_ns, work)

    @property
    def interval_s(self) -> float:
        """Seconds from one frame to the next in a part's first play."""
        return self.rhythm.first_beat / SECOND

    @property
    def later_interval_s(self) -> float:
        """Seconds from one frame to the next in later plays."""
        return self.rhythm.beat / SECOND

    @property
    def work_s(self) -> float:
        """Seconds of work until a frame appears, in a part's first play."""
        return self.rhythm.first_work / SECOND

    @property
    def later_work_s(self) -> float:
        """Seconds of work until a frame appears, in later plays."""
        return self.rhythm.work / SECOND

    def pause_ns(self, pause: int) -> int:
        """Return the nanoseconds of a row's pause. In frames, it lacks the cost of drawing: nothing is drawn."""
        return pause * (SECOND if self.pause_unit == "seconds" else self._frame_us_ns)

    def pause_s(self, pause: int) -> float:
        """Return the seconds of a row's pause."""
        return self.pause_ns(pause) / SECOND

    def plays_ns(self, part: PlayedPart) -> int:
        """Return the nanoseconds of all plays of a part with the pauses after them."""
        rhythm = self.rhythm
        beats = rhythm.first_beat + (part.count - 1) * rhythm.beat
        return part.frames * beats + part.count * self.pause_ns(part.pause) if part.count else 0


def pacing_of(radio: Radio, facts: PlayerFacts, fps: int) -> Pacing:
    """Return how a radio whose player does as the `facts` say times frames of its panel at `fps`."""
    draw_s = radio.limits.draw_ms / 1000
    decode_s = radio.limits.decode_ms_per_mpx * radio.panel.width * radio.panel.height / 1e9
    return Pacing(
        fps=fps,
        mode=facts.pacing,
        cost_s=decode_s + draw_s,
        pause_unit=radio.firmware.pause_unit,
        later_cost_s=draw_s if facts.decodes == "first-play" else None,
        killed=facts.boot_end == "killed",
        pause_check_ms=facts.pause_check_ms,
    )
