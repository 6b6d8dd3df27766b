"""Maps from a plane to a picture of it taken at an angle (Hartley and Zisserman 2004, "Multiple View Geometry", 4.1).

A homography is 3 x 3; it takes (x, y, 1) to (u w, v w, w). Points are (..., n, 2), in px.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


def through(homography: F64, points: F64) -> F64:
    """Return where the points come to lie. `homography` may be a stack (k, 3, 3): then the result is (k, n, 2)."""
    x, y = points[..., 0], points[..., 1]
    u, v, w = (
        homography[..., i, 0, None] * x + homography[..., i, 1, None] * y + homography[..., i, 2, None]
        for i in range(3)
    )
    with np.errstate(divide="ignore", invalid="ignore"):  # a point at infinity
        return np.stack([u / w, v / w], axis=-1)


def of_four(points: F64, seen: F64) -> F64:
    """Return the homographies (k, 3, 3) that take four `points` (k, 4, 2) to where they were `seen` (k, 4, 2).

    Where three points lie in a line, the result is not a number.
    """
    rows, wanted = _equations(points, seen)
    rows[np.linalg.det(rows) == 0] = np.nan
    return _whole(np.asarray(np.linalg.solve(rows, wanted[..., None])[..., 0], np.float64))


def fitted(points: F64, seen: F64, weights: F64) -> F64:
    """Return the homography that takes `points` (n, 2), four or more, to `seen` by weighted least squares."""
    to_unit, from_unit = _scaled(points), _scaled(seen)
    rows, wanted = _equations(through(to_unit, points), through(from_unit, seen))
    each = np.repeat(weights, 2)
    solved, *_ = np.linalg.lstsq(rows * each[:, None], wanted * each, rcond=None)
    eight = np.asarray(solved, np.float64)
    return np.asarray(np.linalg.inv(from_unit) @ _whole(eight) @ to_unit, np.float64)


def moved(homography: F64, points: F64, seen: F64) -> F64:
    """Return `homography` with the film moved under it, so that `points` fall on where they were `seen`.

    Three points give an affine movement, two a turn with a change of size, one a shift; none leave it as it was.
    """
    before = through(homography, points)
    if len(points) == 0:
        return homography
    movement = np.eye(3)
    if len(points) >= 3:
        solved, *_ = np.linalg.lstsq(np.column_stack([before, np.ones(len(before))]), seen, rcond=None)
        movement[:2] = solved.T
    elif len(points) == 2:
        one, other = (complex(*(line[1] - line[0])) for line in (before, seen))
        turn = other / one
        movement[:2, :2] = [[turn.real, -turn.imag], [turn.imag, turn.real]]
        movement[:2, 2] = seen[0] - movement[:2, :2] @ before[0]
    else:
        movement[:2, 2] = seen[0] - before[0]
    return np.asarray(movement @ homography, np.float64)


def _equations(points: F64, seen: F64) -> tuple[F64, F64]:
    """Return the two linear equations a point of the eight unknown numbers, the ninth being 1."""
    (x, y), (u, v) = np.moveaxis(points, -1, 0), np.moveaxis(seen, -1, 0)
    zero, one = np.zeros_like(x), np.ones_like(x)
    across = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y], axis=-1)
    down = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y], axis=-1)
    rows = np.stack([across, down], axis=-2)
    return rows.reshape(*x.shape[:-1], -1, 8), np.stack([u, v], axis=-1).reshape(*x.shape[:-1], -1)


def _whole(eight: F64) -> F64:
    return np.concatenate([eight, np.ones((*eight.shape[:-1], 1))], axis=-1).reshape(*eight.shape[:-1], 3, 3)


def _scaled(points: F64) -> F64:
    """Return the map that brings points around 0, about 1 away: the equations are then well conditioned."""
    middle = points.mean(axis=0)
    scale = 1 / max(1e-9, float(np.abs(points - middle).mean()))
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])
