"""How much of the job's stills the panel cuts off. The shares are worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.normalize.fit import Fit
from keyturn.renumber.cut_off import cut_off, cut_off_reasons
from keyturn.renumber.frame_sheets import with_cells
from keyturn.renumber.parts import job_art
from keyturn.shop.reasons import Kind, Reason
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import InlineCrew
from samples import picture

Told = Callable[..., list[Reason]]


@pytest.fixture
def told(tmp_path: Path, rules: Rulebook) -> Told:
    def reasons(sizes: dict[str, tuple[int, int]], text: str = "", mode: str = "cover") -> list[Reason]:
        for number, (name, size) in enumerate(sizes.items()):
            picture(size, number).save(tmp_path / name)
        (tmp_path / "job.toml").write_text(f'customer = "C"\nradio = "tiny"\n{text}')
        art = job_art(reading.read(tmp_path), survey(tmp_path, rules.intake), rules.intake)
        art = with_cells(art, tmp_path, rules.intake, InlineCrew())
        return cut_off_reasons(art, Fit((48, 64), "cover" if mode == "cover" else "contain"), "tiny")

    return reasons


def test_what_is_cut_off_is_an_area() -> None:
    assert cut_off((48, 64), Fit((48, 64))) == 0
    assert cut_off((96, 64), Fit((48, 64))) == pytest.approx(0.5)
    assert cut_off((480, 1280), Fit((48, 64))) == pytest.approx(0.5)


def test_more_than_a_third_is_noted_with_its_share_and_the_remedy(told: Told) -> None:
    (reason,) = told({"1.png": (48, 64), "2.png": (80, 64), "logo.png": (48, 64)})
    assert (reason.code, reason.kind, reason.file) == ("art-cut-off", Kind.NOTE, "2.png")
    assert "40%" in reason.what and reason.mend.endswith('\nfit = "contain"')
    (shown,) = reason.exhibits  # of 80 columns the middle 48 stay
    assert (shown.name, shown.kept) == ("2.png", (0.2, 0.0, 0.8, 1.0))


def test_a_third_is_not_noted_nor_is_anything_where_all_is_shown(told: Told) -> None:
    assert told({"1.png": (72, 64), "2.png": (48, 64)}) == []
    assert told({"1.png": (200, 64), "2.png": (48, 64)}, mode="contain") == []


def test_the_logo_and_a_backdrop_are_looked_at_and_a_pan_and_a_sprite_are_not(told: Told) -> None:
    assert told({"1.png": (48, 64), "2.png": (48, 64), "logo.png": (100, 64)})[0].file == "logo.png"
    pan = '[[part]]\nart = "v.png"\npan = { from = [0, 0, 0.1, 1], to = [0.9, 0, 1, 1], frames = 8 }\n'
    assert told({"v.png": (640, 64), "logo.png": (48, 64)}, pan) == []


@pytest.mark.parametrize(("size", "grid"), [((576, 64), "[12, 1]"), ((48, 640), "[1, 10]")])
def test_a_long_still_is_asked_about_with_the_line_to_write(told: Told, size: tuple[int, int], grid: str) -> None:
    (reason,) = told({"van.png": size})
    assert (reason.code, reason.kind, reason.file) == ("sheet-unsaid", Kind.REFUSE, "van.png")
    lines = reason.mend.partition("\n")[2]
    assert lines.endswith(f"sheet = {grid}")
    assert told({"van.png": size}, lines + "\n") == [], "the lines to paste answer the question"


def test_below_ten_times_it_is_a_still_that_is_cut_off(told: Told) -> None:
    assert [r.code for r in told({"van.png": (470, 64)})] == ["art-cut-off"]
