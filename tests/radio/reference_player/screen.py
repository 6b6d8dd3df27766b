"""What was on the screen, and when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Drawn:
    """One picture as it comes to the screen."""

    work_ms: float
    """When the player began to work on it."""
    at_ms: float
    """When its work was done and it was seen."""
    part: int | None
    """Number of the row among the rows this generation reads; None: the black picture before frame 1."""
    file: str | None
    """The file of the part whose turn it was."""
    seen: str | None
    """The file whose picture is seen; None: no picture, but black, the row's colour or a blank frame."""
    play: int = 0
    fade: float = 0.0
    """How far an f row has faded, from 0 to 1."""


@dataclass(frozen=True)
class Span:
    start_ms: float
    end_ms: float | None
    """None: it stays."""
    part: int | None
    frame: str | None
    play: int


@dataclass
class Played:
    """What became of one archive in one boot."""

    generation: int
    boot_ms: float
    drawn: list[Drawn] = field(default_factory=list)
    refused: bool = False
    """The player does not open the zip at all."""
    crashed: bool = False
    random: bool = False
    """No line gives size and rate: nothing can be said of what is shown."""
    exit_seen_ms: float | None = None
    """When the player first saw that the boot was over; None: never, or it was killed."""
    released_ms: float | None = 0.0
    """When the player let go of the screen; None: never."""
    peak_bytes: int = 0

    @property
    def delay_ms(self) -> float | None:
        """How long after the boot's end the screen is held; None: for ever."""
        return None if self.released_ms is None else max(0.0, self.released_ms - self.boot_ms)

    @property
    def shown(self) -> bool:
        """Whether any picture of the archive was seen."""
        return any(d.seen is not None for d in self.drawn)

    @property
    def black_ms(self) -> float:
        """How long the black picture before frame 1 was seen."""
        return sum((s.end_ms or s.start_ms) - s.start_ms for s in self.spans() if s.part is None)

    def spans(self) -> Iterator[Span]:
        """Yield each picture from when it is seen until the next is seen or the screen is let go."""
        ends: list[float | None] = [d.at_ms for d in self.drawn[1:]]
        for drawn, end in zip(self.drawn, [*ends, self.released_ms], strict=True):
            yield Span(drawn.at_ms, end, drawn.part, drawn.seen, drawn.play)
