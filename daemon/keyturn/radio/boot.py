"""How long a radio boots: measured starts where there are some, else shortest, usual and longest."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from keyturn.shop.radio_profile import Radio

FEWEST_SAMPLES = 2
"""With fewer measured starts than this, the three figures are used: one start does not tell how starts differ."""


@dataclass(frozen=True, slots=True)
class BootModel:
    """Seconds from the first frame to the end of the boot, as a distribution over starts.

    `samples` ascend. Without samples it is the triangular distribution with the mode `usual`.
    """

    samples: tuple[float, ...]
    shortest: float
    usual: float
    longest: float

    @classmethod
    def of(cls, samples: Sequence[float], shortest: float, usual: float, longest: float) -> BootModel:
        """Make the model of at least two measured starts, or else of the three figures.

        Raise `ValueError` where the figures descend or anything is not a finite time.
        """
        if not all(math.isfinite(s) and s >= 0 for s in (*samples, shortest, usual, longest)):
            raise ValueError("boot times must be finite and not below 0")
        if not shortest <= usual <= longest:
            raise ValueError("shortest, usual and longest must not descend")
        enough = len(samples) >= FEWEST_SAMPLES
        return cls(tuple(sorted(samples)) if enough else (), shortest, usual, longest)

    @classmethod
    def of_radio(cls, radio: Radio) -> BootModel:
        """Make the model of the radio's profile."""
        boot = radio.boot
        return cls.of(boot.starts, boot.shortest, boot.usual, boot.longest)

    def share_finished(self, seconds: float) -> float:
        """Return the share (0 to 1) of starts whose boot lasts at least `seconds`."""
        if self.samples:
            lasting = len(self.samples) - bisect_left(self.samples, seconds)
            return lasting / len(self.samples)  # 19 of 20 is then exactly the 0.95 that a manifest asks for
        return self._triangular_share(seconds)

    def _triangular_share(self, x: float) -> float:
        """Return 1 - F(x) of the triangular distribution on (a, b) with mode m (textbook formula)."""
        a, m, b = self.shortest, self.usual, self.longest
        if x <= a:
            return 1.0
        if x > b:
            return 0.0
        if x <= m:
            return 1 - (x - a) ** 2 / ((b - a) * (m - a))
        return (b - x) ** 2 / ((b - a) * (b - m))

    def quantile(self, q: float) -> float:
        """Return the seconds that a share `q` (0 to 1) of starts does not exceed. Raise `ValueError` outside 0 to 1."""
        if not 0 <= q <= 1:
            raise ValueError(f"a quantile lies between 0 and 1, not at {q}")
        return self._sample_quantile(q) if self.samples else self._triangular_quantile(q)

    def _sample_quantile(self, q: float) -> float:
        """Interpolate between order statistics: Hyndman and Fan 1996, type 7, the default of numpy."""
        place = q * (len(self.samples) - 1)
        low = math.floor(place)
        high = min(low + 1, len(self.samples) - 1)
        return self.samples[low] + (place - low) * (self.samples[high] - self.samples[low])

    def _triangular_quantile(self, q: float) -> float:
        a, m, b = self.shortest, self.usual, self.longest
        if q * (b - a) <= m - a:
            return a + math.sqrt(q * (b - a) * (m - a))
        return b - math.sqrt((1 - q) * (b - a) * (b - m))

    @property
    def spread(self) -> tuple[float, float, float]:
        """(shortest, usual, longest) in seconds; of samples the least, the median, the greatest."""
        if self.samples:
            return self.samples[0], self.quantile(0.5), self.samples[-1]
        return self.shortest, self.usual, self.longest
