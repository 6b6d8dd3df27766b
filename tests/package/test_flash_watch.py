"""The flash check goes on while frames are made, and finds what it finds of finished ones."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from keyturn.commands import make_by_hand
from keyturn.judge.flash import PictureNumbers, flash_record
from keyturn.package import flash_watch, radio_output
from keyturn.package.flash_watch import FlashWatch
from keyturn.pipeline import Bench
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Kind, Refused
from keyturn.shop.records import FlashRecord
from samples import Clock, Drop

HEAD = 'customer = "C"\nradio = "tiny"\n'
TWICE = '[[part]]\nart = "lamps/*"\nplays = 2\n'
LOOP = '[[part]]\nart = "lamps/*"\nplays = "until-booted"\n'


def repainted(root: Path, seed: int) -> Path:
    """Fill the drop's frames with blocks that turn light and dark at random, and some reds."""
    rng = np.random.default_rng(seed)
    states = np.array([(0, 0, 0), (190, 190, 190), (200, 0, 0)], np.uint8)
    for path in sorted(root.rglob("*.png")):
        blocks = states[rng.choice(3, (8, 6), p=[0.5, 0.4, 0.1])]
        Image.fromarray(blocks.repeat(8, 0).repeat(8, 1)).save(path)
    return root


class Seen:
    """What each check was given: how many pictures before the last stage, and the record of a check from the start."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.early: list[int] = []
        self.anew: list[FlashRecord] = []
        real_go_on, real = FlashWatch.go_on, radio_output.flash_result
        counted = [0]

        def go_on(watch: FlashWatch) -> None:
            counted[0] += 1
            real_go_on(watch)

        def result(job: Any, numbers: PictureNumbers, store: Any, progress: Any, watch: FlashWatch) -> Any:
            self.early.append(counted[0])
            rules = job.rules.safety.flash
            self.anew.append(flash_record(job.plan, numbers, store.cells, rules, store.pixels))
            return real(job, numbers, store, progress, watch)

        monkeypatch.setattr(FlashWatch, "go_on", go_on)
        monkeypatch.setattr(radio_output, "flash_result", result)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("parts", ["", TWICE, TWICE + LOOP], ids=["hold", "twice", "twice and a loop"])
def test_the_figures_are_those_of_a_check_from_the_start(
    drop: Drop, bench: Bench, monkeypatch: pytest.MonkeyPatch, seed: int, parts: str
) -> None:
    seen = Seen(monkeypatch)
    calm = bench.rules.safety.flash.model_copy(update={"on_failure": "note"})
    rules = bench.rules.model_copy(update={"safety": bench.rules.safety.model_copy(update={"flash": calm})})
    root = repainted(drop(manifest=f"{HEAD}{parts}[motion]\nfps = 30\n", frames=14), seed)
    made = make_by_hand.check(root, replace(bench, rules=rules)).made
    assert [radio.flash for radio in made.record.radios] == seen.anew
    assert seen.early[0] >= 14


def test_frames_left_out_afterwards_are_not_judged(drop: Drop, bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was checked while frames were made is of no use where half of them then leave the animation."""
    seen = Seen(monkeypatch)
    rules = bench.rules
    tiny = rules.radios["tiny"]
    small = tiny.model_copy(update={"limits": tiny.limits.model_copy(update={"zip_mib": 0.06})})
    calm = rules.safety.model_copy(update={"flash": rules.safety.flash.model_copy(update={"on_failure": "note"})})
    rules = rules.model_copy(update={"radios": {"tiny": small}, "safety": calm})
    root = drop(manifest=f"{HEAD}[motion]\nfps = 8\nthin = true\n", frames=16)
    rng = np.random.default_rng(5)
    for path in sorted(root.rglob("*.png")):
        Image.fromarray(rng.integers(0, 256, (64, 48, 3), np.uint8)).save(path)
    made = make_by_hand.check(root, replace(bench, rules=rules)).made
    assert "thinned-to-fit" in {reason.code for reason in made.record.radios[0].reasons}
    assert [radio.flash for radio in made.record.radios] == seen.anew


def test_the_time_while_frames_are_made_counts_towards_the_limit(
    drop: Drop, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock()
    real = flash_watch.FlashAhead.go_on

    def slow(ahead: flash_watch.FlashAhead, *said: Any) -> None:
        clock.at += 1000
        real(ahead, *said)

    monkeypatch.setattr(flash_watch.FlashAhead, "go_on", slow)
    with pytest.raises(Refused) as caught:
        make_by_hand.check(drop(frames=6), replace(bench, progress=Progress(clock=clock)))
    assert [r.code for r in caught.value.reasons if r.kind is Kind.REFUSE] == ["drop-takes-too-long"]
    assert clock.at == Clock.at + 1000  # it is not gone on with once it has taken too long


def test_a_broken_picture_ends_the_check_and_is_told_alone(
    drop: Drop, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked: list[float] = []
    real = flash_watch.FlashAhead.go_on

    def counting(ahead: flash_watch.FlashAhead, number_at: Any, cells: Callable[[int], Any], most: int) -> None:
        real(ahead, number_at, lambda number: checked.append(number) or cells(number), most)

    monkeypatch.setattr(flash_watch.FlashAhead, "go_on", counting)
    root = repainted(drop(frames=12), 1)
    path = root / "lamps" / "0003.png"
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(Refused) as caught:
        make_by_hand.check(root, bench)
    assert {reason.file for reason in caught.value.reasons if reason.kind is Kind.REFUSE} == {"lamps/0003.png"}
    assert len(checked) <= 3


class Broken:
    """A crew whose results are never asked for to the end."""

    ended = False

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        try:
            yield from jobs
        finally:
            self.ended = True


def test_work_that_is_broken_off_is_ended_with_the_crew() -> None:
    crew = Broken()
    watch = type("Idle", (), {"go_on": lambda self: None})()
    results = flash_watch.WatchedCrew(crew, watch).run(str, [1, 2, 3], str)  # type: ignore[arg-type]
    next(results)
    results.close()  # type: ignore[attr-defined]
    assert crew.ended
