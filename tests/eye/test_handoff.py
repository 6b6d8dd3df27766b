"""Colour difference against colour-science and scikit-image; frames that stumble."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.color import rgb2lab

from keyturn.eye import handoff, luminance

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour

COLOURS = np.array(list(itertools.product(range(0, 256, 17), repeat=3)), np.uint8)


def test_lab_is_that_of_two_reference_libraries() -> None:
    ours = handoff.lab(COLOURS)
    # scikit-image: rgb2lab, D65, 2 degrees; colour-science: CIE 1976 L*a*b* from sRGB
    assert np.abs(ours - rgb2lab(COLOURS[None])[0]).max() < 0.05
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    reference = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(COLOURS / 255), d65)
    assert np.abs(ours - reference).max() < 0.05


def test_mean_difference_is_cie76() -> None:
    rng = np.random.default_rng(3)
    a, b = rng.integers(0, 256, (2, 20, 30, 3), dtype=np.uint8)
    expected = colour.delta_E(rgb2lab(a), rgb2lab(b), method="CIE 1976")  # colour-science
    found = handoff.difference(a, b)
    assert found.mean_difference == pytest.approx(float(np.mean(expected)), rel=1e-3)
    assert found.share_changed == pytest.approx(float(np.mean(expected > 2.3)), abs=0.01)


def test_equal_pictures_do_not_differ() -> None:
    a = np.random.default_rng(1).integers(0, 256, (8, 8, 3), dtype=np.uint8)
    found = handoff.difference(a, a.copy())
    assert (found.share_changed, found.mean_difference, found.mask.any()) == (0.0, 0.0, False)


def test_the_share_is_that_of_visibly_changed_pixels() -> None:
    a = np.full((10, 10, 3), 120, np.uint8)
    b = a.copy()
    b[:3] = 160
    b[9] = 121  # one code of grey is 0.4 in L*, under the just noticeable 2.3 of Mahy et al. 1994 (from memory)
    found = handoff.difference(a, b)
    assert found.share_changed == pytest.approx(0.3)
    assert found.mask[:3].all() and not found.mask[3:].any()


def test_pictures_of_two_sizes_are_an_error() -> None:
    with pytest.raises(ValueError, match="cannot be compared"):
        handoff.difference(np.zeros((2, 2, 3), np.uint8), np.zeros((2, 3, 3), np.uint8))


def test_the_picture_marks_the_changed_place_and_is_calm_elsewhere() -> None:
    a = np.full((10, 10, 3), 200, np.uint8)
    b = a.copy()
    b[2:5, 2:5] = (20, 90, 200)
    picture = handoff.difference_picture(a, b).astype(int)
    marked = picture[..., 0] - picture[..., 2] > 40
    assert np.array_equal(marked, handoff.difference(a, b).mask)
    assert picture[~marked].max() <= 110


def cells_of(grey: float) -> np.ndarray:
    return np.full((4, 5, 3), round(grey * luminance.FULL), np.uint16)


def test_change_is_the_mean_absolute_step_of_luminance() -> None:
    half = cells_of(0.25)
    half[:2] = cells_of(0.75)[:2]
    assert handoff.change(cells_of(0.25), half) == pytest.approx(0.25, abs=1e-4)
    assert handoff.change(half, half) == 0


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 2**32 - 1))
def test_change_is_symmetric_and_bounded(key: int) -> None:
    a, b = np.random.default_rng(key).integers(0, 65536, (2, 3, 4, 3), dtype=np.uint16)
    assert handoff.change(a, b) == pytest.approx(handoff.change(b, a))
    assert 0 <= handoff.change(a, b) <= 1


def moving_bar(order: list[int]) -> list[np.ndarray]:
    """A bar two pixels wide that goes two pixels a frame; `order` is the frames as delivered."""
    frames = np.zeros((max(order) + 1, 8, 60, 3), np.uint8)
    for number, frame in enumerate(frames):
        frame[:, 2 * number : 2 * number + 4] = 255
    return [luminance.cells(frames[n], 1.0) for n in order]


@pytest.mark.parametrize(
    ("order", "doubled", "jumps"),
    [
        (list(range(20)), (), ()),
        ([*range(10), 9, *range(10, 20)], (10,), ()),
        ([*range(10), *range(11, 20)], (), (10,)),
    ],
)
def test_doubled_and_missing_frames_stand_out(order: list[int], doubled: tuple, jumps: tuple) -> None:
    changes = handoff.frame_changes(moving_bar(order))
    assert len(changes) == len(order) - 1
    found = handoff.stumbles(changes)
    assert (found.doubled, found.jumps) == (doubled, jumps)


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param([0.0] * 12, id="a still"),
        pytest.param([0.0] * 6 + [0.1] * 6, id="a start"),
        pytest.param([0.0] * 5 + [0.4] + [0.0] * 5, id="a cut"),
        pytest.param([0.01 * 1.3**n for n in range(12)], id="easing in"),
        pytest.param([0.1, 0.0] * 6, id="shot on twos"),
    ],
)
def test_motion_that_is_meant_is_no_stumble(changes: list[float]) -> None:
    found = handoff.stumbles(changes)
    assert (found.doubled, found.jumps) == ((), ())
