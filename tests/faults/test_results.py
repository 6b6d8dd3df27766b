"""The campaign's results: written down as they come, read again, summed up."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from faults.results import Result, Tally, read, table

ONE = Result("drops", "kill", "drops kill - rename#3", "drops kill rename#3: van", True, 30, "killed", [], 0.5)
BAD = replace(ONE, key="drops kill - rename#4", broken=["van is in no folder"])


def test_results_are_found_again_the_last_word_counts_and_a_cut_off_line_does_not(tmp_path: Path) -> None:
    file = tmp_path / "results"
    assert read(file) == []
    for result in (replace(BAD, key=ONE.key), BAD, ONE):
        Tally(file).add(result)
    file.write_text(file.read_text() + '{"scenario": "dr')
    assert read(file) == [ONE, BAD]


def test_the_sum_counts_all_and_tells_what_was_broken() -> None:
    text = "\n".join(table([ONE, BAD, replace(ONE, scenario="mended", key="other", reached=False)]))
    assert "in all: 3 points, 2 reached, 0 merged, 90 promises, 1 broken" in text
    assert "van is in no folder" in text
    assert len([line for line in text.splitlines() if line.startswith(("drops ", "mended "))]) == 2
