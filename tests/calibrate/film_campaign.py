"""Read many simulated films, and print what became of them: `python tests/calibrate/film_campaign.py --films 300`.

A film counts as read where the moment of the first frame and that of the home screen lie between two film frames that
the reading says, and numbers were read in half of the film frames between them. It counts as wrong where any film frame
has a number that the screen did not show while it was exposed, shows a logo, black or another picture that was not
there, or the banding is wrong. Everything else must be refused. With `--results FILE` a run goes on where it was broken
off.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibrate.simulated_film import HARDSHIPS, Filmed, film, filming
from calibrate.simulated_start import RadioDoes, Start, Stick, start, stick
from keyturn.calibrate.film_frames import SURE, FilmReading
from keyturn.calibrate.film_reading import FilmJob, read_film
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook

RADIOS = ("tall-768x1024", "wide-1024x600-16bit", "wide-1280x720")


@dataclass(frozen=True)
class Outcome:
    """What became of one film: "read", "refused" or "wrong", and why."""

    name: str
    hardship: str
    became: str
    why: str
    film_frames: int
    unread: int
    banding: str
    seconds: float


class Campaign:
    """Makes films by their numbers: each number has a radio, a start and a hardship of its own."""

    def __init__(self, folder: Path, rules: Rulebook) -> None:
        self._folder, self._rules = folder, rules
        self._sticks: dict[str, Stick] = {}

    def run(self, number: int) -> Outcome:
        hardship = HARDSHIPS[number % len(HARDSHIPS)]
        radio = self._rules.radios[RADIOS[number // len(HARDSHIPS) % len(RADIOS)]]
        began, name = time.perf_counter(), f"{number}-{hardship}"
        filmed = film(self._start(radio.name, number), filming(number, hardship), self._folder / "film.mp4")
        job = FilmJob(filmed.path, name, radio.panel.size, self._rules.intake)
        try:
            reading = read_film(job)
        except Refused as refused:
            return Outcome(name, hardship, "refused", refused.reasons[0].what, len(filmed.seen), 0, "-", 0.0)
        became, why = judged(reading, filmed)
        unread = sum(frame.shows == "unread" for frame in reading.frames)
        seconds = time.perf_counter() - began
        return Outcome(name, hardship, became, why, len(filmed.seen), unread, str(reading.banding), seconds)

    def _start(self, radio: str, number: int) -> Start:
        if radio not in self._sticks:
            profile = self._rules.radios[radio]
            self._sticks[radio] = stick(profile, self._rules, self._folder / radio, fps=10, seconds=4)
        generation = 1 + number % 4
        boot_s = 2.0 + 0.137 * (number % 9)
        does = RadioDoes(generation, boot_s, (12.0, 40.0), 4.0, sixteen_bits=number % 2 == 1)
        return start(self._sticks[radio], does, dark_s=0.1, logo_s=0.5, gap_s=0.3 * (number % 3 == 0))


def judged(reading: FilmReading, filmed: Filmed) -> tuple[str, str]:
    """Return what a reading is, and why."""
    if faults := list(wrong(reading, filmed)):
        return "wrong", "; ".join(faults[:3])
    numbers = [i for i, frame in enumerate(reading.frames) if frame.shows == "frame"]
    after = next((i for i in range(numbers[-1] + 1, len(reading.frames)) if reading.frames[i].shows != "unread"), None)
    if not any(frame.shows == "logo" for frame in reading.frames[: numbers[0]]):
        return "unclear", "no logo was read"
    if after is None or reading.frames[after].at_s - reading.frames[numbers[-1]].at_s > 0.1:
        return "unclear", "the end of the count is not seen closely"
    return "read", ""


def wrong(reading: FilmReading, filmed: Filmed) -> Iterator[str]:
    """Yield everything that the reading states and that is not so."""
    if len(reading.frames) != len(filmed.seen):
        yield f"{len(reading.frames)} frames of {len(filmed.seen)}"
    for number, (frame, seen) in enumerate(zip(reading.frames, filmed.seen, strict=False)):
        if abs(frame.at_s - seen.at_s) > 1e-3:
            yield f"frame {number} is at {seen.at_s:.3f} s, not {frame.at_s:.3f} s"
        if frame.number is not None and (frame.number not in filmed.numbers(number) or frame.confidence < SURE):
            yield f"{frame.number} was read in frame {number}, {sorted(filmed.numbers(number))} shown"
        allowed = {"black": {"black", "dark"}, "other": {"home"}}.get(frame.shows)
        if allowed and not allowed & seen.keys:
            yield f"frame {number} is {frame.shows}, {sorted(seen.keys)} shown"
    if reading.banding is not None and reading.banding != filmed.start.does.sixteen_bits:
        yield f"banding is {reading.banding}"


def table(outcomes: list[Outcome]) -> str:
    """Return a line for each hardship and one for all."""
    lines = [
        f"{'':10}{'films':>7}{'read':>7}{'unclear':>9}{'refused':>9}{'wrong':>7}{'unread frames':>15}{'banding':>9}"
    ]
    for name in (*HARDSHIPS, "together"):
        of = [each for each in outcomes if name in (each.hardship, "together")]
        if not of:
            continue
        count = Counter(each.became for each in of)
        share = sum(each.unread for each in of) / max(1, sum(each.film_frames for each in of))
        told = sum(each.banding in ("True", "False") for each in of)
        lines.append(
            f"{name:10}{len(of):7}{count['read']:7}{count['unclear']:9}{count['refused']:9}{count['wrong']:7}"
            f"{100 * share:13.1f} %{told:9}"
        )
    return "\n".join(lines)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--films", type=int, default=300)
    asked.add_argument("--part", default="1/1", help="1/3 is the first of three shares, each of one radio")
    asked.add_argument("--results", type=Path)
    told = asked.parse_args()
    share, shares = (int(each) for each in told.part.split("/"))
    lines = told.results.read_text().splitlines() if told.results and told.results.is_file() else []
    outcomes = [Outcome(**json.loads(line)) for line in lines]
    done = {each.name for each in outcomes}
    with tempfile.TemporaryDirectory() as folder:
        campaign = Campaign(Path(folder), rulebook.load())
        for number in range(told.films):
            if (
                number // len(HARDSHIPS) % shares != share - 1
                or f"{number}-{HARDSHIPS[number % len(HARDSHIPS)]}" in done
            ):
                continue
            outcome = campaign.run(number)
            outcomes.append(outcome)
            if outcome.became != "read":
                print(f"{outcome.name}: {outcome.became}: {outcome.why}", flush=True)
            if told.results:
                with told.results.open("a") as results:
                    results.write(json.dumps(vars(outcome)) + "\n")
    print(table(outcomes))


if __name__ == "__main__":
    main()
