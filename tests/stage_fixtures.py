"""With the quick libraries and without them: everything must hold both ways."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from keyturn.shop import fast_libraries


@pytest.fixture(params=["quick", "plain"])
def libraries(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """ "quick" or "plain": whether the libraries of `quick` are to be had."""
    if request.param == "plain":
        monkeypatch.setattr(fast_libraries, "library", lambda name: None)
    else:
        for name in (fast_libraries.DEFLATE, fast_libraries.RESIZE, fast_libraries.DECODE):
            pytest.importorskip(name)
    return str(request.param)


def _along(pixels: NDArray[np.float64], low: float, high: float, length: int) -> NDArray[np.float64]:
    step = (high - low) / length
    widen = max(step, 1.0)
    x = (np.arange(len(pixels)) + 0.5 - low - (np.arange(length)[:, None] + 0.5) * step) / widen
    weights = np.where(np.abs(x) < 3, np.sinc(x) * np.sinc(x / 3), 0)
    return np.tensordot(weights / weights.sum(1, keepdims=True), pixels, 1)


@pytest.fixture
def lanczos() -> Callable[..., NDArray[np.float64]]:
    """lanczos(pixels (H, W, C), (left, top, right, bottom), (wide, high)) by the kernel's definition,
    L(x) = sinc(x) sinc(x / 3), widened when shrinking; nothing is rounded or cut off."""

    def resize(
        pixels: NDArray[np.float64], crop: tuple[float, float, float, float], size: tuple[int, int]
    ) -> NDArray[np.float64]:
        tall = _along(pixels, crop[1], crop[3], size[1])
        return _along(tall.swapaxes(0, 1), crop[0], crop[2], size[0]).swapaxes(0, 1)

    return resize
