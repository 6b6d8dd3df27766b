"""Where a sprite is at every frame: easing, even pace, and what happens on the way."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial import Polynomial
from scipy.integrate import quad
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from keyturn.flatten.motion import SpriteMotion, SpritePath, eased, poses

Ease = Literal["linear", "in", "out", "in-out"]
POINTS = ((-200.0, 300.0), (150.0, 80.0), (400.0, 420.0), (430.0, 440.0), (900.0, 200.0))


@pytest.mark.parametrize(
    ("ease", "leaving", "arriving"), [("linear", 1, 1), ("in", 0, 2), ("out", 2, 0), ("in-out", 0, 0)]
)
def test_easing_sets_off_and_arrives_with_the_speed_it_says(ease: Ease, leaving: float, arriving: float) -> None:
    """scipy's cubic Hermite spline from 0 to 1 with these speeds at its ends. Even acceleration from rest doubles
    the mean speed at the end (s = a t^2 / 2); both ends at rest are the smoothstep of the OpenGL Shading Language
    specification, 8.3."""
    reference = CubicHermiteSpline([0, 1], [0, 1], [leaving, arriving])
    t = np.linspace(0, 1, 101)
    assert eased(t, ease) == pytest.approx(reference(t), abs=1e-12)


def test_straight_legs_are_gone_at_an_even_pace() -> None:
    """Legs of 300 and 400 px in seven steps of 100 px; arithmetic."""
    way = SpritePath(((0, 0), (300, 0), (300, 400)))
    assert way.length == pytest.approx(700)
    expected = [(0, 0), (100, 0), (200, 0), (300, 0), (300, 100), (300, 200), (300, 300), (300, 400)]
    assert way.at(np.linspace(0, 1, 8)) == pytest.approx(np.array(expected, float))


def _barry_goldman(p: np.ndarray, t: np.ndarray, at: float) -> np.ndarray:
    """The Catmull-Rom curve by its pyramid of straight mixtures (P. Barry, R. Goldman, 1988)."""

    def mix(a: np.ndarray, b: np.ndarray, ta: float, tb: float) -> np.ndarray:
        return (tb - at) / (tb - ta) * a + (at - ta) / (tb - ta) * b

    a1, a2, a3 = (mix(p[i], p[i + 1], t[i], t[i + 1]) for i in range(3))
    b1, b2 = mix(a1, a2, t[0], t[2]), mix(a2, a3, t[1], t[3])
    return mix(b1, b2, t[1], t[2])


def _legs(points: np.ndarray) -> list[tuple[Polynomial, Polynomial]]:
    """Each leg of the centripetal curve as exact cubics of 0 to 1, made from four of its points."""
    whole = np.vstack([2 * points[0] - points[1], points, 2 * points[-1] - points[-2]])
    u, legs = np.array([0, 1 / 3, 2 / 3, 1]), []
    for start in range(len(points) - 1):
        p = whole[start : start + 4]
        t = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1) ** 0.5)])
        curve = np.array([_barry_goldman(p, t, t[1] + x * (t[2] - t[1])) for x in u])
        legs.append((Polynomial.fit(u, curve[:, 0], 3).convert(), Polynomial.fit(u, curve[:, 1], 3).convert()))
    return legs


def _length(leg: tuple[Polynomial, Polynomial], until: float = 1.0) -> float:
    dx, dy = leg[0].deriv(), leg[1].deriv()
    return float(quad(lambda u: np.hypot(dx(u), dy(u)), 0, until, epsabs=1e-9, limit=200)[0])


def test_a_bent_way_is_the_catmull_rom_curve_gone_at_an_even_pace() -> None:
    """Reference: the Barry-Goldman pyramid for the curve, scipy's quadrature for its length and brentq for the
    place after each length."""
    legs = _legs(np.array(POINTS))
    lengths = [_length(leg) for leg in legs]
    ends = np.cumsum([0, *lengths])
    way = SpritePath(POINTS, bend=True)
    assert way.length == pytest.approx(ends[-1], rel=1e-5)
    for share, found in zip(shares := np.linspace(0, 1, 23), way.at(shares), strict=True):
        gone = share * ends[-1]
        leg = min(int(np.searchsorted(ends, gone, side="right")) - 1, len(legs) - 1)
        left = min(gone - ends[leg], lengths[leg])
        u = brentq(lambda x, leg=leg, left=left: _length(legs[leg], x) - left, 0, 1) if left > 1e-6 else 0.0
        assert np.hypot(found[0] - legs[leg][0](u), found[1] - legs[leg][1](u)) < 0.02


def test_a_bent_way_goes_through_its_points_and_a_straight_one_by_two_points_is_the_same() -> None:
    way = SpritePath(POINTS, bend=True)
    seen = way.at(np.linspace(0, 1, 20_001))
    for point in POINTS:
        assert np.hypot(*(seen - point).T).min() < 0.1
    share = np.linspace(0, 1, 9)
    assert np.array_equal(SpritePath(POINTS[:2], bend=True).at(share), SpritePath(POINTS[:2]).at(share))


def test_bobbing_is_a_sine_that_goes_up_first() -> None:
    """x sin(2 pi n t); y runs downwards, so up is less."""
    motion = SpriteMotion(points=((0, 100), (600, 100)), bob=(8, 3))
    found = poses(motion, 61)
    expected = [100 - 8 * np.sin(2 * np.pi * 3 * i / 60) for i in range(61)]
    assert [p.y for p in found] == pytest.approx(expected)
    assert found[3].y < 100


def test_size_turn_and_fading_on_the_way() -> None:
    found = poses(SpriteMotion(points=((0, 0), (100, 0)), sizes=(40, 80), turns=(-10, 350), fade=(0.2, 0.5)), 11)
    assert [p.height for p in found] == pytest.approx(np.linspace(40, 80, 11).tolist())
    assert [p.turn for p in found] == pytest.approx(np.linspace(-10, 350, 11).tolist())
    assert [p.opacity for p in found] == pytest.approx([0, 0.5, 1, 1, 1, 1, 0.8, 0.6, 0.4, 0.2, 0])


def test_more_than_two_turns_are_keyframes_at_even_times_each_leg_eased_by_itself() -> None:
    """CSS Animations level 1, 4.3: a timing function is applied between two keyframes, not over the whole. Here
    smoothstep at a quarter, 3/16 - 2/64 = 5/32, of a leg of 40 degrees; and at rest at each end of a swing."""
    swung = [pose.turn for pose in poses(SpriteMotion(((0, 0),), ease="in-out", turns=(-20, 20, -20)), 9)]
    quarter = 40 * 5 / 32
    assert swung == pytest.approx([-20, -20 + quarter, 0, 20 - quarter, 20, 20 - quarter, 0, -20 + quarter, -20])


def test_the_middle_hangs_from_the_pivot() -> None:
    """A sprite 40 wide and 100 high by the middle of its top edge: 50 below it, turned 90 clockwise 50 left of it."""
    (level, turned) = poses(SpriteMotion(((200, 300),), sizes=(100, 100), turns=(0, 90), pivot=(0.5, 0)), 2)
    assert level.middle(40) == pytest.approx((200, 350))
    assert turned.middle(40) == pytest.approx((150, 300))


def test_a_way_gone_three_times_starts_anew_each_time() -> None:
    x = [p.x for p in poses(SpriteMotion(points=((0, 0), (90, 0)), repeat=3), 10)]
    assert x == pytest.approx([0, 30, 60, 0, 30, 60, 0, 30, 60, 90])


def test_one_point_is_a_place_to_stay() -> None:
    assert {(p.x, p.y) for p in poses(SpriteMotion(points=((7, 9),)), 12)} == {(7, 9)}
    assert {(p.x, p.y) for p in poses(SpriteMotion(points=((7, 9), (7, 9), (7, 9)), bend=True), 5)} == {(7, 9)}


coordinates = st.floats(-5000, 5000, allow_nan=False)
tracks = st.builds(
    SpriteMotion,
    points=st.lists(st.tuples(coordinates, coordinates), min_size=1, max_size=8).map(tuple),
    bend=st.booleans(),
    ease=st.sampled_from(["linear", "in", "out", "in-out"]),
    sizes=st.tuples(st.floats(0, 3000), st.floats(0, 3000)),
    turns=st.tuples(st.floats(-720, 720), st.floats(-720, 720)),
    repeat=st.integers(1, 5),
    fade=st.tuples(st.floats(0, 0.5), st.floats(0, 0.5)),
)


@settings(deadline=None, max_examples=200)
@given(tracks, st.integers(2, 90))
def test_every_way_begins_and_ends_where_it_says(motion: SpriteMotion, frames: int) -> None:
    found = poses(motion, frames)
    assert len(found) == frames
    assert (found[0].x, found[0].y) == pytest.approx(motion.points[0], abs=1e-5)
    assert (found[-1].x, found[-1].y) == pytest.approx(motion.points[-1], abs=1e-5)
    assert (found[0].height, found[-1].height) == pytest.approx(motion.sizes)
    assert all(0 <= p.opacity <= 1 for p in found)
    assert all(min(motion.sizes) - 1e-6 <= p.height <= max(motion.sizes) + 1e-6 for p in found)


places = st.integers(-200, 200).map(lambda tens: tens * 10.0)


@settings(deadline=None, max_examples=100)
@given(st.lists(st.tuples(places, places), min_size=2, max_size=6), st.booleans(), st.integers(2, 60))
def test_no_step_is_longer_than_the_even_one(points: list[tuple[float, float]], bend: bool, frames: int) -> None:
    """A chord is never longer than the arc it spans (Euclid, Elements I.20); a curve's pace is even to 1 in 500."""
    way = SpritePath(points, bend=bend)
    steps = np.hypot(*np.diff(way.at(np.linspace(0, 1, frames)), axis=0).T)
    assert steps.max(initial=0) <= way.length / (frames - 1) * 1.002 + 1e-6
