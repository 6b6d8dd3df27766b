"""Odd fonts through workers with a shop's limits: words are set and drawn rightly, or refused with a reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.flatten.fonts import FontFile
from keyturn.flatten.set_words import WordsJob
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import LocalCrew
from odd import fonts
from odd.font_tasks import drawn

INTAKE = rulebook.load().intake
ALLOWED = {"font-broken", "font-kind", "letters-missing", "font-one-weight"}


@pytest.mark.slow
def test_each_odd_font_is_drawn_or_refused_and_defeats_no_worker(tmp_path: Path) -> None:
    every = list(fonts.every())
    jobs = []
    for number, odd in enumerate(every):
        path = tmp_path / f"{number}.ttf"
        path.write_bytes(odd.data)
        file = FontFile(path, odd.name)
        jobs.append(WordsJob("Fe F", (file,), True, None, "left", None, None, 100, (400, 300), 9, INTAKE))
    crew = LocalCrew(2, INTAKE.workers.model_copy(update={"wall_seconds": 20, "cpu_seconds": 20}))
    try:
        results = list(crew.run(drawn, jobs, lambda job: job.fonts[0].name))
    finally:
        crew.close()
    made = 0  # boxes 0.7 em high: F is 0.46 em wide, e 0.36
    for odd, result in zip(every, results, strict=True):
        if isinstance(result, Refused):
            assert not odd.made, f"{odd.name}: {result}"
            assert {reason.code for reason in result.reasons} <= ALLOWED, f"{odd.name}: {result}"
            continue
        made += 1
        if odd.made:
            boxes = 3 * 46 if odd.name == "character-map-13" else 2 * 46 + 36
            assert float(result.sum()) == pytest.approx(70 * boxes, rel=0.02), odd.name
    assert made > len(every) / 5
