"""Notes on words that the panel's edge cuts off."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import font_samples
from judge.plans import TALL, plan_of
from keyturn.flatten import figures
from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.fonts import FontFile
from keyturn.flatten.frame_source import Source
from keyturn.flatten.lettering import TextLook
from keyturn.flatten.motion import Pose
from keyturn.flatten.set_words import WordsJob, WordsSet, set_words
from keyturn.judge.words import words_reasons
from keyturn.renumber.job_words import JobWords
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Kind
from keyturn.shop.rulebook import Rulebook

TEXT = "Fern Hollow"
WIDE, HIGH = TALL.panel.size


def with_words(*parts: list[Pose]) -> Plan:
    plan = plan_of(*(("p", int(number < len(parts)), 0, len(poses)) for number, poses in enumerate(parts, 1)))
    figure = Figure("job.toml", text=TEXT)
    drawn = [tuple(Source(None, "job.toml", figures=(Placed(figure, pose),)) for pose in poses) for poses in parts]
    return replace(plan, parts=tuple(replace(p, sources=s) for p, s in zip(plan.parts, drawn, strict=True)))


def at(x: float, height: float = 60.0, turn: float = 0.0, opacity: float = 1.0) -> Pose:
    return Pose(x, HIGH / 2, height, turn, opacity)


@pytest.mark.parametrize("pose", [at(0), at(WIDE - 90), at(WIDE / 2, 400), at(20, 90, 40), at(WIDE / 2, 200, -90)])
def test_the_share_that_is_cut_off_is_that_of_the_light_drawn(pose: Pose, rules: Rulebook) -> None:
    """The text drawn on a frame of three by three panels: its light outside the middle panel over all its light."""
    moved = replace(pose, x=pose.x + WIDE, y=pose.y + HIGH)
    placed = Placed(Figure("job.toml", text=TEXT), moved)
    made, _ = figures.drawn(Image.new("RGB", (3 * WIDE, 3 * HIGH)), placed, rules.intake)
    light = (np.asarray(made, float)[..., 1] / 255) ** 2.2
    outside = 1 - light[HIGH : 2 * HIGH, WIDE : 2 * WIDE].sum() / light.sum()
    found = words_reasons(with_words([pose, pose]))
    share = int(re.findall(r"(\d+)%", found[0].what)[0]) / 100 if found else 0.0
    assert share == pytest.approx(outside, abs=0.03)


def test_words_that_come_in_and_leave_over_the_edge_are_as_they_should_be() -> None:
    way = [at(x) for x in range(-400, WIDE + 401, 100)]
    assert words_reasons(with_words(way, [way[-1]])) == []


def test_words_that_hold_half_outside_are_told_once() -> None:
    way = [at(x) for x in (200, 400, 600, WIDE)]
    (told,) = words_reasons(with_words(way, [way[-1]]))
    assert (told.code, told.kind) == ("words-cut-off", Kind.NOTE)
    assert "in the picture that holds, part 2" in told.what and "path" in told.mend
    assert len(words_reasons(with_words([way[-1]] * 2, [way[-1]]))) == 1


def test_words_wider_than_the_panel_are_told_with_a_size_that_fits() -> None:
    (told,) = words_reasons(with_words([at(WIDE / 2, 400)] * 2))
    assert f'the words "{TEXT}" of part 1 (lamps/*) are never whole' in told.what
    size = float(re.findall(r"size = ([\d.]+)", told.mend)[0])
    assert words_reasons(with_words([at(WIDE / 2, size * HIGH)] * 2)) == []
    assert words_reasons(with_words([at(WIDE / 2, size * HIGH * 1.2)] * 2))


def test_frames_in_which_the_words_are_not_seen_do_not_count() -> None:
    (told,) = words_reasons(with_words([at(WIDE / 2, opacity=0.0), at(WIDE)]))
    assert "never whole" in told.what
    (told,) = words_reasons(with_words([at(3 * WIDE), at(2 * WIDE)]))
    assert "never on the panel" in told.what


def set_text(rules: Rulebook, tmp_path: Path, text: str = "FFFF\nFF") -> WordsSet:
    """Boxes of half an em in lines of an em."""
    (tmp_path / "boxes.ttf").write_bytes(font_samples.font({"F": 500}))
    fonts = (FontFile(tmp_path / "boxes.ttf", "boxes.ttf"),)
    return set_words(WordsJob(text, fonts, True, None, "left", None, None, 100, TALL.panel.size, 9, rules.intake))


def test_words_set_in_a_font_are_judged_by_their_own_ink(rules: Rulebook, tmp_path: Path) -> None:
    """Two lines of 100 px; the first is 200 px wide, the second half as wide. The right half of the text lies beyond
    the panel's edge: two boxes of six."""
    made = set_text(rules, tmp_path)
    figure = Figure("job.toml", text="FFFF\nFF", words=(made.words, TextLook((255, 255, 255))))
    source = Source(None, "job.toml", figures=(Placed(figure, Pose(WIDE, HIGH / 2, 200, 0, 1)),))
    plan = plan_of(("p", 1, 0, 2), ("p", 0, 0, 1))
    plan = replace(plan, parts=tuple(replace(p, sources=(source,) * len(p.sources)) for p in plan.parts))
    (told,) = words_reasons(replace(plan, words=JobWords({("a text",): made})))
    share = int(re.findall(r"(\d+)%", told.what)[0])
    assert share == pytest.approx(100 * 2 / 6, abs=2) and '"FFFF FF"' in told.what


def test_the_size_that_fits_is_a_line_s(rules: Rulebook, tmp_path: Path) -> None:
    """Eight boxes of half an em are four lines wide: at the panel's width, a line is a fourth of it high."""
    made = set_text(rules, tmp_path, "FFFFFFFF\nF")
    figure = Figure("job.toml", text="FFFFFFFF\nF", words=(made.words, TextLook((255, 255, 255))))
    source = Source(None, "job.toml", figures=(Placed(figure, Pose(WIDE / 2, HIGH / 2, 800, 0, 1)),))
    plan = plan_of(("p", 1, 0, 2), ("p", 0, 0, 1))
    plan = replace(plan, parts=tuple(replace(p, sources=(source,) * len(p.sources)) for p in plan.parts))
    (told,) = words_reasons(replace(plan, words=JobWords({("a text",): made})))
    assert float(re.findall(r"size = ([\d.]+)", told.mend)[0]) == pytest.approx(WIDE / 4 / HIGH, abs=0.002)


def test_words_on_the_logo_that_are_cut_off_are_told_as_the_logo_s() -> None:
    plan = with_words([at(WIDE / 2)] * 2, [at(WIDE / 2)])
    own = Placed(Figure("job.toml", text="Library"), at(WIDE))
    first = plan.parts[0].sources[0]
    told = words_reasons(replace(plan, logo=replace(first, figures=(*first.figures, own))))
    assert [("Library" in reason.what, "the boot logo" in reason.what) for reason in told] == [(True, True)]
