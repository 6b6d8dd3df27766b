"""Say what films taught and how far it can be trusted, for the terminal and for the page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from keyturn.calibrate.film_learning import FilmedStart, FilmLearnt
from keyturn.calibrate.player_fit import Cost
from keyturn.calibrate.player_seen import held_at_the_end_s
from keyturn.calibrate.report import starts
from keyturn.radio.boot import FEWEST_SAMPLES

LEAST_TOLD_S = 0.05
"""What differs by less than this is not told. Keyturn's own choice."""

NOT_TOLD = "not told by these films"

_PACING = {
    "additive": "additive: a frame's time is waited after its work",
    "fixed-beat": "fixed beat: the work is part of a frame's time",
}
_DECODES = {"first-play": "later plays draw only", "every-play": "every play decodes again"}
_BOOT_END = {
    "killed": "the player is ended on the spot",
    "asked": "the player looks after each frame whether the boot is over",
}
_PAUSES = {
    "frames": "desc.txt's pauses are counted in frames",
    "seconds": "desc.txt's pauses are counted in seconds",
    "none": "the radio leaves the stick's pauses out",
}


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that was learnt."""

    title: str
    words: str


def facts(learnt: FilmLearnt) -> list[Fact]:
    """Return what the films tell, most important first."""
    seen = learnt.seen
    return [
        Fact("Boot", _boots(learnt)),
        *(Fact(f"A frame at {rate.fps} fps", _interval(learnt, rate.fps)) for rate in learnt.rates),
        Fact("Pacing", _PACING.get(seen.pacing or "", NOT_TOLD)),
        Fact("Drawing a frame", _cost(learnt.fit.draw)),
        Fact("Decoding a plain frame", _cost(learnt.fit.plain)),
        Fact("Decoding a detailed frame", _detailed(learnt.fit.detailed)),
        Fact("Later plays", _DECODES.get(seen.decodes or "", NOT_TOLD)),
        Fact("Pauses", _PAUSES.get(seen.pause_unit or "", NOT_TOLD)),
        Fact("End of the boot", _BOOT_END.get(seen.boot_end or "", NOT_TOLD)),
        Fact("Before frame 1", _black(learnt)),
        Fact("Colours", _colours(learnt.banding)),
        Fact("Behaves like", _generations(learnt)),
    ]


def start_line(start: FilmedStart) -> str:
    """Return what one film shows in a line."""
    film = start.timeline
    last = "after the count was over" if film.over else f"at frame {start.last}"
    return (
        f"{film.film}: logo for {film.logo_s:.1f} s, then home screen after {start.boot_s:.2f} s "
        f"(give or take {start.error_s * 2:.2f} s), {last}"
    )


def describe_films(learnt: FilmLearnt) -> list[str]:
    """Return what was learnt, one fact a line, and then what is doubtful."""
    rates = " and ".join(f"{rate.fps}" for rate in learnt.rates)
    lines = [f"{learnt.radio}: {starts(len(learnt.starts))} on film at {rates} fps"]
    lines += [f"  {start_line(start)}" for start in learnt.starts]
    lines += [f"{fact.title}: {fact.words}" for fact in facts(learnt)]
    return [*lines, *(f"Doubt: {doubt}" for doubt in doubts(learnt))]


# -- the facts in words -----------------------------------------------------------------------------


def _boots(learnt: FilmLearnt) -> str:
    boots = [start.boot_s for start in learnt.starts]
    error = max(start.error_s for start in learnt.starts)
    if len(boots) == 1:
        return f"{boots[0]:.2f} s from frame 1 to the home screen, give or take {2 * error:.2f} s"
    span = f"{min(boots):.2f} to {max(boots):.2f} s"
    return f"{span} from frame 1 to the home screen in {len(boots)} starts, each give or take {2 * error:.2f} s"


def _interval(learnt: FilmLearnt, fps: int) -> str:
    rate = next(rate for rate in learnt.rates if rate.fps == fps)
    own = [start.line.slope for start in learnt.starts if start.timeline.plan.fps == fps]
    words = f"{rate.line.slope * 1000:.1f} ms, give or take {max(0.05, 2000 * rate.line.error):.2f} ms"
    return words if len(own) == 1 else f"{words}; from film to film it differs by {1000 * (max(own) - min(own)):.1f} ms"


def _cost(cost: Cost | None) -> str:
    return f"{cost.seconds * 1000:.0f} ms, give or take {2000 * cost.error:.0f} ms" if cost else NOT_TOLD


def _detailed(cost: Cost | None) -> str:
    words = _cost(cost)
    return f"{words}. Plans count on it; the flash check tries plain frames too" if cost else words


def _black(learnt: FilmLearnt) -> str:
    if learnt.seen.black_first is None:
        return f"whether it is black is {NOT_TOLD}"
    if not learnt.seen.black_first:
        return "the logo stays until frame 1"
    longest = max(start.timeline.black_s or 0.0 for start in learnt.starts)
    return f"black for up to {longest * 1000:.0f} ms"


def _colours(banding: bool | None) -> str:
    if banding is None:
        return NOT_TOLD
    return "16 bits: fine steps of colour are seen as bands" if banding else "24 bits: no bands are seen"


def _generations(learnt: FilmLearnt) -> str:
    possible = learnt.seen.generations
    if not possible:
        return "no published player"
    return f"the player of the {_listed(possible, 'or')} generation"


def _listed(words: Sequence[str], last: str) -> str:
    """Return "first", "first or second", "first, second or third"."""
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


# -- what is doubtful -------------------------------------------------------------------------------


def doubts(learnt: FilmLearnt) -> list[str]:
    """Return what the films leave open, with what would tell it."""
    return [*(note.line() for note in learnt.notes), *_of_films(learnt), *_of_the_player(learnt)]


def _of_films(learnt: FilmLearnt) -> Iterator[str]:
    if len(learnt.starts) < FEWEST_SAMPLES:
        yield "One start does not show how much starts differ: film more, some of them from cold."
    interval_s = {rate.fps: rate.line.slope for rate in learnt.rates}
    for start in learnt.starts:
        film = start.timeline
        for odd in start.oddities:
            if odd.skipped:
                yield f"{film.film}: after frame {odd.number} the radio left out {odd.skipped}."
            elif odd.held_s >= LEAST_TOLD_S:
                yield f"{film.film}: the radio held frame {odd.number} for {odd.held_s:.2f} s longer than others."
        if film.hidden:
            yield f"{film.film}: the repeated frames are hidden, so its pauses and later plays do not count."
        if (late := film.home.middle - film.cut.middle) > LEAST_TOLD_S:
            yield (
                f"{film.film}: {late:.1f} s lie between the last frame and the home screen. "
                "Plans count to the last frame's end, where an animation is cut."
            )
        if (held := held_at_the_end_s(film, interval_s[film.plan.fps])) > film.step_s:
            yield f"{film.film}: the last frame stood for {held:.2f} s longer than others before the home screen."
        if start.line.widened_s is None:
            yield f"{film.film}: some of its times contradict each other; most of them were believed."


def _of_the_player(learnt: FilmLearnt) -> Iterator[str]:
    seen, plan = learnt.seen, learnt.starts[0].timeline.plan
    if plan.by_eye:
        yield "A stick for reading by eye has plain frames alone: one made without --by-eye tells more."
    if seen.pacing is None:
        rate = max(1, plan.fps // 2)
        yield (
            "Two kinds of pacing explain these films, and the profile's stays. Film a stick of another rate too "
            f"(keyturn calibrate {learnt.radio} --fps {rate}), and give all films at once."
        )
    if seen.pause_unit is None:
        yield "In what pauses are counted is not told: the profile's stays."
    elif seen.pause_unit == "none":
        yield "The radio left out the stick's pauses, which no published player does: the profile's unit stays."
    if learnt.fit.draw is None:
        yield "What drawing alone takes is not told: the profile's figure stays."
    if seen.boot_end is None:
        yield "Whether the player is killed or asks when the boot is over shows in more starts: film some more."
    if seen.black_first is None:
        yield "Whether it is black before frame 1 shows in films at 60 pictures a second."
    if len(seen.generations) > 1:
        yield f"The {_listed(seen.generations, 'and')} generation all do this: which one it is stays open."
    elif not seen.generations:
        yield "No published player does all of this. The profile has each fact as it was seen; look at the films again."
