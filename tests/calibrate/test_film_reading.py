"""Whole films read: simulated starts, played by the reference player and filmed by a simulated phone.

`film_campaign.py` reads hundreds of them; a small sample is here.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibrate import film_campaign
from calibrate.film_campaign import Campaign
from calibrate.simulated_camera import Light, Pose
from calibrate.simulated_film import Filming, film
from calibrate.simulated_start import RadioDoes, start, stick
from keyturn.calibrate.film_frames import FilmReading
from keyturn.calibrate.film_reading import FilmJob, read_film
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import LocalCrew

SMALL = (400, 300)


@pytest.fixture(scope="module")
def filmed_start(tmp_path_factory: pytest.TempPathFactory) -> film_campaign.Filmed:
    """A start of two seconds, with a stick of 12 frames, in a small film."""
    rules, tmp_path = rulebook.load(), tmp_path_factory.mktemp("filmed")
    radio = rules.radios["wide-1024x600"]
    small = radio.model_copy(update={"panel": radio.panel.model_copy(update={"width": SMALL[0], "height": SMALL[1]})})
    on = stick(small, rules, tmp_path / "stick", fps=10, seconds=1.2)
    does = RadioDoes(generation=1, boot_s=2.0, decode_ms=(90.0, 90.0))
    begun = start(on, does, dark_s=0.1, logo_s=0.4)
    taken = Filming(Pose(share=0.9, yaw=10), Light(), size=(320, 240), before_s=0.2, after_s=0.6)
    return film(begun, taken, tmp_path / "start1.mp4")


@pytest.fixture(scope="module")
def reading(filmed_start: film_campaign.Filmed) -> FilmReading:
    """The film as a worker reads it, within a worker's limits."""
    intake = rulebook.load().intake
    crew = LocalCrew(1, intake.workers)
    try:
        job = FilmJob(filmed_start.path, "start1.mp4", SMALL, intake)
        (read,) = crew.run(read_film, [job], lambda each: each.name)
    finally:
        crew.close()
    assert not isinstance(read, Refused)
    return read


def test_every_frame_of_a_start_is_read(filmed_start: film_campaign.Filmed, reading: FilmReading) -> None:
    assert film_campaign.judged(reading, filmed_start) == ("read", "")
    shown = [frame.shows for frame in reading.frames if frame.shows != "unread"]
    order = [kind for kind, _ in itertools.groupby(shown)]
    assert order == ["black", "logo", "black", "frame", "other"]  # the first generation is black before frame 1
    assert (reading.plan.fps, reading.plan.by_eye, reading.doubts) == (10, False, ())
    assert np.array(reading.screen).shape == (4, 2)


def test_the_campaign_notices_what_is_read_wrongly(filmed_start: film_campaign.Filmed, reading: FilmReading) -> None:
    for shows, change in (
        ("frame", {"number": 3000}),
        ("frame", {"shows": "black", "number": None}),
        ("frame", {"confidence": 0.5}),
        ("logo", {"shows": "other", "number": None}),
        ("other", {"at_s": 99.0}),
    ):
        at = next(i for i, frame in enumerate(reading.frames) if frame.shows == shows) + 2
        frames = list(reading.frames)
        frames[at] = replace(frames[at], **change)
        spoiled = replace(reading, frames=tuple(frames))
        assert film_campaign.judged(spoiled, filmed_start)[0] == "wrong"


def test_a_film_of_another_thing_is_refused_with_how_to_film(
    rules: Rulebook, filmed_start: film_campaign.Filmed
) -> None:
    """The layout of a tall panel is not found on a wide one."""
    with pytest.raises(Refused) as caught:
        read_film(FilmJob(filmed_start.path, "start1.mp4", (300, 400), rules.intake))
    refused, how = caught.value.reasons
    assert refused.file == "start1.mp4" and "radio" in refused.mend and "ring marks" in how.mend


def test_a_film_too_blurred_to_read_is_refused_not_guessed(
    rules: Rulebook, filmed_start: film_campaign.Filmed, tmp_path: Path
) -> None:
    taken = Filming(Pose(share=0.5), Light(blur_px=4.0), size=(320, 240), before_s=0.2, after_s=0.6)
    blurred = film(filmed_start.start, taken, tmp_path / "blurred.mp4")
    with pytest.raises(Refused):
        read_film(FilmJob(blurred.path, "blurred.mp4", SMALL, rules.intake))


@pytest.mark.slow
@pytest.mark.parametrize("number", [1, 5, 9, 24, 37])
def test_a_sample_of_the_campaign_is_read_and_nothing_wrongly(number: int, rules: Rulebook, tmp_path: Path) -> None:
    outcome = Campaign(tmp_path, rules).run(number)
    assert (outcome.became, outcome.why) == ("read", "")
