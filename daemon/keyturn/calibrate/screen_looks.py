"""Look at a film frame by frame: where the screen is, which code it shows, and roughly what else."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.calibrate import homography, sampling
from keyturn.calibrate.code_layout import CodeLayout
from keyturn.calibrate.code_reading import CodeRead, CodeReader
from keyturn.calibrate.film_frames import SURE
from keyturn.calibrate.fine_steps import StepSums
from keyturn.calibrate.grey_frames import GreyFrame
from keyturn.calibrate.screen_finding import ScreenFinder
from keyturn.calibrate.screen_tracking import ScreenTracker

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]

TRY_S, TRY_MOST_S = 0.3, 2.4
"""While no code is read, the screen is looked for in a frame each so many seconds. Once it was found, each failure
doubles them; before, adds `SLOWER` of them, so that five minutes without a screen take 160 looks."""

SLOWER = 0.03

KEPT = 40
"""Frames that wait for the screen to be found: they are read backwards from there, so that no logo frame is missed."""

ROUGH = (12, 16)
"""Rows and columns of the rough picture of the screen."""

FEWEST_MARKS = 3


@dataclass(frozen=True, slots=True)
class FilmLook:
    """What one film frame shows. `rough` is the screen in `ROUGH` fields of light, None before it was found; `tall` is
    its height in shares of the film's, `marks` how many finder marks were seen."""

    at_s: float
    read: CodeRead | None = None
    marks: int = 0
    rough: F32 | None = None
    tall: float = 0.0


class ScreenLooks:
    """Looks at one film. `steps` gathers the strip of fine steps, `corners` where the screen was seen first."""

    def __init__(self, layout: CodeLayout) -> None:
        self._layout, self._reader = layout, CodeReader(layout)
        self._finder, self._tracker = ScreenFinder(layout, self._reader), ScreenTracker(layout)
        self.steps = StepSums(layout)
        self.corners: F64 | None = None
        width, height = layout.size
        self._edges = np.array([(0, 0), (width, 0), (width, height), (0, height)], float)
        x = (np.arange(3 * ROUGH[1]) + 0.5) / (3 * ROUGH[1]) * width
        y = (np.arange(3 * ROUGH[0]) + 0.5) / (3 * ROUGH[0]) * height
        self._rough_points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        self._wait_s, self._try_at_s, self._read_at_s = TRY_S, -np.inf, -np.inf

    def at(self, frames: Iterable[GreyFrame]) -> Iterator[FilmLook]:
        """Yield a look at each frame, in order."""
        waiting: deque[GreyFrame] = deque()
        screen: F64 | None = None
        for frame in frames:
            if screen is not None:
                screen, look = self._look(frame, screen)
                screen = self._found_again(frame, screen)
                yield look
                continue
            waiting.append(frame)
            if (screen := self._sought(frame)) is not None:
                yield from self._backwards(waiting, screen)
                screen, _ = self._look(frame, screen)
                waiting.clear()
            elif len(waiting) > KEPT:
                yield FilmLook(waiting.popleft().at_s)
        yield from (FilmLook(frame.at_s) for frame in waiting)

    def _backwards(self, waiting: deque[GreyFrame], screen: F64) -> list[FilmLook]:
        self.corners = homography.through(screen, self._edges) / np.array(waiting[-1].grey.shape[::-1])
        looks = []
        for frame in reversed(waiting):
            screen, look = self._look(frame, screen)
            looks.append(look)
        return looks[::-1]

    def _look(self, frame: GreyFrame, screen: F64) -> tuple[F64, FilmLook]:
        """Return where the screen is in this frame, as far as it shows that, and what is seen of it."""
        tracked = self._tracker.follow(frame.grey, screen)
        read = self._reader.read(frame.grey, tracked.screen) if tracked.marks else None
        sure = read is not None and read.confidence >= SURE
        if sure:
            self._read_at_s, self._wait_s = frame.at_s, TRY_S
            self.steps.add(frame.grey, tracked.screen)
        if sure or tracked.marks >= FEWEST_MARKS:
            screen = tracked.screen
        corners = homography.through(screen, self._edges)
        tall = float(np.linalg.norm(corners[2:] - corners[1::-1], axis=1).mean()) / frame.grey.shape[0]
        light = sampling.light(frame.grey, homography.through(screen, self._rough_points))
        rough = light.reshape(ROUGH[0], 3, ROUGH[1], 3).mean(axis=(1, 3))
        return screen, FilmLook(frame.at_s, read, tracked.marks, rough, tall)

    def _sought(self, frame: GreyFrame) -> F64 | None:
        """Return the screen where it is time to look for it and it is found."""
        if frame.at_s - self._try_at_s < self._wait_s:
            return None
        self._try_at_s = frame.at_s
        sighting = self._finder.find(frame.grey, SURE)
        if sighting is None and self.corners is None:
            self._wait_s = min(TRY_MOST_S, (1 + SLOWER) * self._wait_s)
        return sighting.screen if sighting else None

    def _found_again(self, frame: GreyFrame, screen: F64) -> F64:
        """Look for the screen where nothing has been read for a while: the phone may have been moved."""
        if frame.at_s - self._read_at_s < TRY_S:
            return screen
        found = self._sought(frame)
        if self._try_at_s == frame.at_s:
            self._wait_s = TRY_S if found is not None else min(TRY_MOST_S, 2 * self._wait_s)
        return screen if found is None else found
