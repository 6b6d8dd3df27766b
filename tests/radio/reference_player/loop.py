"""The playing loops of the four generations, in virtual milliseconds."""

from __future__ import annotations

from . import FIRST, FOURTH, SECOND
from .archive import Animation, Frame, Part
from .screen import Drawn, Played
from .textures import REUSED, Textures

PAUSE_STEP_MS = 50
ALL_FADED = 2**31 - 1


class Killed(Exception):  # noqa: N818 - an outcome, not an error
    """The boot is over and the first generation's player is ended on the spot."""


class Crashed(Exception):  # noqa: N818 - an outcome, not an error
    """The player fell over a file that is no picture."""


class NeverLetsGo(Exception):  # noqa: N818 - an outcome, not an error
    """The loop goes round for ever."""


class Loop:
    """A clock, a screen and textures, and the loop that moves them.

    A frame's time is whole nanoseconds. Pauses, and the first generation's frames, are slept in whole microseconds.
    """

    def __init__(self, played: Played, animation: Animation, rate: int, work: tuple[float, float], npot: bool) -> None:
        self.played, self.parts = played, animation.parts
        self.generation, self.boot = played.generation, played.boot_ms
        nanoseconds = 10**9 // rate
        self.beat = nanoseconds / 1e6
        self.sleep_beat = nanoseconds // 1000 / 1000
        self.decode_ms, self.draw_ms = work
        self.textures = Textures(self.generation, npot)
        self.clock = 0.0
        self.exit_pending = False
        self.faded = 0

    def run(self) -> None:
        if self.generation <= SECOND:
            self.played.drawn.append(Drawn(0, 0, None, None, None))
        self.played.released_ms = None
        try:
            {FIRST: self.first, FOURTH: self.fourth}.get(self.generation, self.second_and_third)()
            self.played.released_ms = self.clock
        except Killed:
            self.played.released_ms = self.boot
        except Crashed:
            self.played.crashed, self.played.released_ms = True, self.clock
        except NeverLetsGo:
            pass
        self.played.peak_bytes = self.textures.peak

    # -- the loops ------------------------------------------------------------------------------------

    def first(self) -> None:
        for number, part in enumerate(self.parts):
            play = 0
            while part.row.count == 0 or play < part.row.count:
                before = self.clock
                for frame in part.frames:
                    self.draw(number, frame, play)
                    self.sleep(self.sleep_beat)
                self.sleep(part.row.pause * self.sleep_beat)
                if part.row.count == 0 and self.clock == before:
                    raise Killed  # it goes round without any time passing, until it is killed
                play += 1
            self.free(number, part)

    def second_and_third(self) -> None:
        for number, part in enumerate(self.parts):
            to_the_end = part.row.type == "c"
            play = 0
            while part.row.count == 0 or play < part.row.count:
                if self.exit_pending and not to_the_end:
                    break
                for frame in part.frames:
                    if self.exit_pending and not to_the_end:
                        break
                    self.one_beat(number, frame, play)
                self.sleep(part.row.pause * self.sleep_beat)
                if self.exit_pending and part.row.count == 0:
                    break
                self.spins_without_frames(part)
                play += 1
            if self.generation == SECOND:
                self.free(number, part)
        for number, part in enumerate(self.parts):
            self.free(number, part)

    def fourth(self) -> None:
        for number, part in enumerate(self.parts):
            play = 0
            while part.row.count == 0 or play < part.row.count or self.faded > 0:
                if self.must_stop(part):
                    break
                for frame in part.frames:
                    if self.must_stop(part):
                        break
                    self.one_beat(number, frame, play)
                self.pause_in_steps(part)
                if self.exit_pending and part.row.count == 0 and not self.has_fade(part):
                    break
                if self.exit_pending or part.row.pause * self.sleep_beat <= PAUSE_STEP_MS:
                    self.spins_without_frames(part)  # a longer pause looks whether the boot is over
                self.spins_after_a_fade(part)
                play += 1
        for number, part in enumerate(self.parts):
            self.free(number, part)

    # -- one frame ------------------------------------------------------------------------------------

    def one_beat(self, number: int, frame: Frame, play: int) -> None:
        """Show a frame for a beat, or as long as its work takes; then look whether the boot is over."""
        began = self.clock
        self.draw(number, frame, play)
        self.sleep(self.beat - (self.clock - began))
        self.check_exit()

    def draw(self, number: int, frame: Frame, play: int) -> None:
        """Decode the frame in the first play, draw it and bring it to the screen."""
        began = self.clock
        if play == 0:
            self.decode(number, frame)
        self.spend(self.draw_ms)
        seen = self.seen(frame)
        self.played.drawn.append(Drawn(began, self.clock, number, frame.name, seen, play, self.next_fade(number)))

    def decode(self, number: int, frame: Frame) -> None:
        if frame.picture is None and self.generation not in (FIRST, FOURTH):
            raise Crashed
        self.spend(self.decode_ms)
        if frame.picture is not None and not self.blank(frame):
            once = self.parts[number].row.count == 1 and self.generation != FOURTH
            self.textures.upload(REUSED if once else (number, frame.name), frame.picture)

    def blank(self, frame: Frame) -> bool:
        return self.generation == FOURTH and frame.picture is not None and frame.picture.sixteen_bit

    def seen(self, frame: Frame) -> str | None:
        if frame.picture is None and self.generation == FIRST:
            return self.played.drawn[-1].seen  # the picture before once more
        return None if frame.picture is None or self.blank(frame) else frame.name

    def free(self, number: int, part: Part) -> None:
        if part.row.count != 1:
            for frame in part.frames:
                self.textures.delete((number, frame.name))

    # -- time -----------------------------------------------------------------------------------------

    def spend(self, length: float) -> None:
        """Let time pass. The first generation is killed in the middle of whatever it does."""
        self.clock += max(0.0, length)
        if self.generation == FIRST and self.clock >= self.boot:
            raise Killed

    sleep = spend

    def check_exit(self) -> None:
        if not self.exit_pending and self.clock >= self.boot:
            self.exit_pending, self.played.exit_seen_ms = True, self.clock

    def pause_in_steps(self, part: Part) -> None:
        """Pause until the boot is over; whether it is, is not looked at after the last piece of the pause."""
        left = part.row.pause * self.sleep_beat
        while left > 0 and not self.exit_pending:
            if left <= PAUSE_STEP_MS:
                self.sleep(left)
                return
            self.sleep(PAUSE_STEP_MS)
            left -= PAUSE_STEP_MS
            self.check_exit()

    # -- fades and endless loops ----------------------------------------------------------------------

    def has_fade(self, part: Part) -> bool:
        return part.row.type != "c" and part.row.fade > 0

    def must_stop(self, part: Part) -> bool:
        return self.exit_pending and part.row.type != "c" and self.faded >= part.row.fade

    def next_fade(self, number: int) -> float:
        """Count a frame that is drawn while its row fades; return how far it has faded."""
        part = self.parts[number]
        if not (self.generation == FOURTH and self.exit_pending and self.has_fade(part)):
            return 0.0
        self.faded += 1
        fade = self.faded / part.row.fade
        if self.faded >= part.row.fade:
            self.faded = ALL_FADED
        return fade

    def spins_without_frames(self, part: Part) -> None:
        if part.row.count == 0 and not part.frames:
            raise NeverLetsGo

    def spins_after_a_fade(self, part: Part) -> None:
        """A part goes on while a fade is counted, and that count is never set back: a c row then has no end."""
        if self.faded == ALL_FADED and part.row.type == "c":
            raise NeverLetsGo
