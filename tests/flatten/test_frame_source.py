"""What a frame is made from crosses process borders and tells equal frames apart from different ones."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, replace
from pathlib import Path

import pytest

from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.frame_source import Source
from keyturn.flatten.motion import Pose

STILL = Source(Path("/drops/van/a.png"), "a.png")
OTHERS = [
    replace(STILL, path=None),
    replace(STILL, index=0),
    replace(STILL, view=(0.0, 0.0, 24.0, 32.0)),
    replace(STILL, backdrop=(Path("/drops/van/lake.png"), "lake.png")),
    replace(STILL, figures=(Placed(Figure("job.toml", text="Fern Hollow"), Pose(24, 32, 10, 0, 1)),)),
    replace(STILL, into=(replace(STILL, name="b.png"), 0.5)),
]


@pytest.mark.parametrize("source", [STILL, *OTHERS])
def test_it_is_the_same_after_a_process_border(source: Source) -> None:
    """Python's pickle is what carries it to a worker."""
    assert pickle.loads(pickle.dumps(source)) == source


def test_equal_sources_are_one_key_and_different_ones_are_not() -> None:
    """The pipeline hands the crew one job for each distinct source."""
    assert len({STILL, replace(STILL), *OTHERS}) == 1 + len(OTHERS)


def test_nobody_changes_it_once_it_is_made() -> None:
    with pytest.raises(FrozenInstanceError):
        STILL.index = 3  # type: ignore[misc]


def test_a_still_is_a_frame_that_is_a_picture_and_nothing_more() -> None:
    assert STILL.still == STILL.path and not any(source.still for source in OTHERS)
