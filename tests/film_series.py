"""What a camera would have seen of starts on the literal player: series of film frames, without any picture.

The player is `radio.reference_player`, which shares no code with the package. A radio whose frames do not all cost the
same, or which counts pauses in seconds, is the same loop with another cost or another desc.txt.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from keyturn.calibrate.film_frames import FilmFrame, FilmReading
from keyturn.calibrate.film_reading import FilmJob
from keyturn.calibrate.stick_plan import LOGO, OVER, StickPlan
from keyturn.shop.reasons import Refused, refuse
from radio.boot_zips import animation, part
from radio.reference_player import FIRST, SECOND, archive
from radio.reference_player.archive import Frame
from radio.reference_player.loop import Loop
from radio.reference_player.screen import Played

SCREEN = ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9))


class Costly(Loop):
    """The loop where each frame has its own cost of decoding, every play decodes if asked, and some frames are held."""

    cost_ms: Callable[[int, str], float]
    every_play = False
    holds: dict[str, float]

    def decode(self, number: int, frame: Frame) -> None:
        self.decode_ms = self.cost_ms(number, frame.name)
        super().decode(number, frame)
        self.spend(self.holds.get(f"{number}/{frame.name}", 0.0))

    def draw(self, number: int, frame: Frame, play: int) -> None:
        super().draw(number, frame, 0 if self.every_play else play)
        self.played.drawn[-1] = replace(self.played.drawn[-1], play=play)


@dataclass(frozen=True)
class Start:
    """A start: the stick's rate, the player's generation, its costs in ms, and when the boot ends."""

    generation: int = FIRST
    fps: int = 10
    boot_ms: float = 17_930.0
    draw_ms: float = 4.0
    plain_ms: float = 14.0
    detailed_ms: float = 31.0
    seconds: bool = False
    every_play: bool = False
    holds: dict[str, float] = field(default_factory=dict)
    frames: int = 400

    @property
    def plan(self) -> StickPlan:
        return StickPlan.of(self.fps, self.frames)

    def played(self) -> Played:
        plan = self.plan
        rows = [
            f"{row.type} {row.count} {row.pause * (self.fps if self.seconds else 1)} {row.path}\n" for row in plan.rows
        ]
        counted = [part(f"part{n}", each.frames, 48, 64) for n, each in enumerate(plan.parts)]
        hold = part(f"part{len(counted)}", 1, 48, 64)
        data = animation(f"48 64 {self.fps}\n{''.join(rows)}", *counted, hold)
        found = archive.read(data, self.generation)
        assert found is not None
        played = Played(self.generation, self.boot_ms)
        loop = Costly(played, found, self.fps, (0.0, self.draw_ms), True)
        drawn = [each.drawn for each in plan.parts] + ["plain"]
        loop.cost_ms = lambda number, name: self.detailed_ms if drawn[number] == "detailed" else self.plain_ms
        loop.every_play, loop.holds = self.every_play, self.holds
        loop.run()
        return played

    def shown(self) -> list[tuple[float, str, int | None]]:
        """Return what was on screen, as `_shown` says."""
        return self._shown

    @cached_property
    def _shown(self) -> list[tuple[float, str, int | None]]:
        """Return (when it came in seconds, what it is, its number), from the logo to the home screen.

        Time is 0 where work on the animation begins; the first two generations show black from then to frame 1.
        """
        played, plan = self.played(), self.plan
        found: list[tuple[float, str, int | None]] = [(-1e9, "logo", LOGO)]
        for drawn in played.drawn:
            if drawn.part is None:
                found.append((0.0, "black", None))
                continue
            index = int(re.findall(r"\d+", drawn.file or "")[0]) - 1
            first = plan.parts[drawn.part].first if drawn.part < len(plan.parts) else OVER
            found.append((drawn.at_ms / 1000, "frame", first + index))
        assert played.released_ms is not None
        found.append((played.released_ms / 1000, "other", None))
        return found

    @property
    def boot_s(self) -> float:
        """Seconds from frame 1 to the home screen."""
        shown = self.shown()
        return shown[-1][0] - next(at for at, what, _ in shown if what == "frame")


@dataclass(frozen=True)
class Camera:
    """A camera: its rate, how unevenly it films, the share of film frames that are lost or cannot be read."""

    fps: float = 30.0
    uneven: float = 0.0
    lost: float = 0.0
    unread: float = 0.0
    seed: int = 0
    hand: tuple[float, float] = (0.0, 0.0)
    speed: float = 1.0

    def film(self, start: Start, name: str = "start.mp4") -> FilmReading:
        """Return what is read of a start: the picture that is on screen at each film frame's time."""
        dice = np.random.default_rng(self.seed)
        shown = start.shown()
        came = np.array([at for at, _, _ in shown])
        steps = (1 + self.uneven * dice.uniform(-1, 1, 20_000)) / self.fps
        times = np.cumsum(steps) - 3.0 - dice.uniform(0, 1 / self.fps)
        times = times[times < came[-1] + 3.0]
        times = times[dice.uniform(size=len(times)) >= self.lost]
        frames = []
        for at in times:
            _, what, number = shown[int(np.searchsorted(came, at, side="right")) - 1]
            hidden = dice.uniform() < self.unread or self.hand[0] <= at < self.hand[1]
            clock = float((at - times[0]) * self.speed)
            if hidden:
                frames.append(FilmFrame(clock, "unread", None, 0.2))
            else:
                frames.append(FilmFrame(clock, what, number, 0.98))  # type: ignore[arg-type]
        return FilmReading(name, StickPlan.of(start.fps), tuple(frames), SCREEN, None, ())


BLACK_FIRST = (FIRST, SECOND)
"""The generations that show black before frame 1."""


def digests(*films: FilmReading) -> dict[str, str]:
    """Return a made-up SHA-256 for each film, by its name."""
    return {film.film: hashlib.sha256(film.film.encode()).hexdigest() for film in films}


# -- files that stand for films ---------------------------------------------------------------------

MP4 = b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom"
"""The first box of an MP4 (ISO/IEC 14496-12, 4.3): enough for a file to be told as a film by its first bytes."""


def write_film(path: Path, seed: int = 0, **start: Any) -> Path:
    """Write a file that stands for a film of a start, for readers that are replaced by `read_series`."""
    path.write_bytes(MP4 + json.dumps({"seed": seed, "start": start}).encode())
    return path


def read_series(job: FilmJob) -> FilmReading:
    """Read a file of `write_film`, in the place of `film_reading.read_film`. Any other file cannot be read."""
    try:
        told = json.loads(job.path.read_bytes().removeprefix(MP4))
    except ValueError:
        raise Refused([refuse("film-unreadable", "is blurred", "prop the phone up", file=job.name)]) from None
    camera = Camera(60, uneven=0.1, unread=0.02, seed=told["seed"])
    return camera.film(Start(**told["start"]), job.name)
