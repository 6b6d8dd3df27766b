"""The records of a film that was read."""

from __future__ import annotations

import dataclasses
import pickle

import pytest

from keyturn.calibrate.film_frames import SURE, FilmFrame, FilmReading
from keyturn.calibrate.stick_plan import LOGO, StickPlan

READ = FilmReading(
    "start1.mp4",
    StickPlan.of(10),
    (FilmFrame(0.0, "logo", LOGO, 1.0), FilmFrame(0.04, "unread", None, 0.3)),
    ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)),
    None,
    (),
)


def test_a_reading_comes_back_from_a_worker_as_it_was() -> None:
    assert pickle.loads(pickle.dumps(READ)) == READ


def test_a_reading_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        READ.frames[0].number = 7  # type: ignore[misc]
    assert READ.frames[1].confidence < SURE
