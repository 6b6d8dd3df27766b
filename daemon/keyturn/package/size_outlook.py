"""How large an animation will be, as the frames made so far tell: what they have, and what the others will add."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence

from keyturn.flatten.frame_source import Source
from keyturn.package.fit_size import QUALITIES, takes_jpeg
from keyturn.package.frame import FrameDone
from keyturn.package.repack import Recode, recode
from keyturn.package.smaller import Outlook
from keyturn.png.chunks import PNG_SIGNATURE
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Refused
from keyturn.shop.units import MIB
from keyturn.workers.crew import Crew


class SizeOutlook:
    """Adds up the bytes of the frames of `plan` as they are made, each as often as it lies in the zip.

    `sources` are the distinct ones in the order in which they are shown. `limit` is what the radio takes, in bytes.

    The size of a frame that is not made yet is foretold from its source's file: a still is taken to become no lighter,
    for the bytes of its file, than the lightest one that was made. Frames of clips and drawn ones all count the same,
    and only where there are no stills.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._places = Counter(source for part in plan.parts for source in part.sources)
        self.sources = tuple(self._places)
        self._weights, self._foretold = _weights(self.sources)
        self._made: dict[Source, int] = {}
        self._outlook = Outlook(0.0, 0.0)
        self.limit = plan.radio.limits.zip_mib * MIB
        self.bytes_made = 0

    @property
    def made(self) -> int:
        """How many of them are made."""
        return len(self._made)

    def add(self, source: Source, done: FrameDone) -> None:
        """Count a made frame by its smallest file; one that is counted already changes nothing."""
        if source in self._made:
            return
        size = min(len(done.data), len(done.cropped.data) if done.cropped else len(done.data))
        self._made[source] = size
        self.bytes_made += size * self._places[source]

    def look_into(self, files: Sequence[bytes], crew: Crew, in_question: Callable[[], bool]) -> None:
        """Try on a few made files how much smaller they become, and count on the same for all frames.

        They are made JPEG where the radio takes it, then packed harder. The second is not tried where `in_question`
        says after the first that the answer is known.
        """
        pngs = [data for data in files if data.startswith(PNG_SIGNATURE)]
        if not pngs:
            return
        smallest = list(map(len, pngs))
        for quality in (QUALITIES[-1], None) if takes_jpeg(self._plan.radio) else (None,):
            results = crew.run(recode, [Recode(data, quality, "") for data in pngs], lambda job: job.name)
            made = [size if isinstance(r, Refused) else len(r.data) for size, r in zip(smallest, results, strict=True)]
            smallest = list(map(min, smallest, made))
            shares = [1 - small / len(data) for small, data in zip(smallest, pngs, strict=True)]
            self._outlook = Outlook(1 - sum(smallest) / sum(map(len, pngs)), max(shares))
            if not in_question():
                return

    def is_too_large(self) -> bool:
        """Are the frames that are made too large already, as small as they might become?"""
        return self._at_least(self.bytes_made) > self.limit

    def chance(self, made: int | None = None) -> float:
        """Return the largest chance that all frames fit together; or what it will be once so many of them are `made`.

        Frames made by chance show the lightest of their kind. All can fit only where a share of the others, at least
        1 - limit / (what all would have), is lighter than that: so many would all miss those with the probability
        (1 - share) ** made, if every stretch of the animation were like every other.
        """
        known = [source for source in self._made if source in self._foretold]
        lightest = min((self._made[source] / self._weights[source] for source in known), default=0.0)
        whole = self._at_least(self._whole(lightest, self._foretold))
        return float(min(1.0, self.limit / max(1.0, whole)) ** (len(known) if made is None else made))

    def expected(self) -> float:
        """Return about how many bytes all frames will have, as small as they might become."""
        bytes_a_weight = sum(self._made.values()) / max(1.0, sum(self._weights[source] for source in self._made))
        return self._whole(bytes_a_weight, self._weights) * (1 - self._outlook.saved)

    def _at_least(self, size: float) -> float:
        return size * (1 - self._outlook.most)

    def _whole(self, bytes_a_weight: float, counted: Iterable[Source]) -> float:
        """Return the bytes of all; of the frames that are not made only those `counted`."""
        left = (source for source in counted if source not in self._made)
        return self.bytes_made + bytes_a_weight * sum(self._weights[source] * self._places[source] for source in left)


def _weights(sources: Sequence[Source]) -> tuple[Mapping[Source, float], frozenset[Source]]:
    """Return a weight for each source, and the sources whose frames' sizes their weights can foretell.

    The weight of a still is the size of its file in bytes, but at most the median of all stills: an odd file may hold
    much that is never shown. A still of less than half the median is taken for another kind of picture, and nothing is
    foretold of it. Where there are no stills, all sources weigh the same.
    """
    stills = {source: _file_size(source) for source in sources if source.still}
    if not stills:
        return dict.fromkeys(sources, 1.0), frozenset(sources)
    usual = max(1.0, statistics.median(stills.values()))
    weights = {source: min(stills.get(source, usual), usual) for source in sources}
    return weights, frozenset(source for source in stills if weights[source] >= usual / 2)


def _file_size(source: Source) -> float:
    try:
        return float(source.still.stat().st_size) if source.still else 0.0
    except OSError:  # the worker meets it too, and says so
        return 0.0
