"""Notes on words that the panel's edge cuts off."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from judge.plans import TALL, plan_of
from keyturn.flatten import figures
from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.frame_source import Source
from keyturn.flatten.motion import Pose
from keyturn.judge.words import words_reasons
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
