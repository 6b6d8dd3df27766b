"""job.toml: every default is what a person would guess, and fields that do not go together are refused."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from keyturn.manifest import reading
from keyturn.manifest.models import Part
from manifest_samples import LEAST, refused


def test_two_lines_are_a_manifest() -> None:
    job = reading.parse(LEAST)
    assert job.customer == "Fern Hollow Mobile Library"
    assert job.radio == ("tall-768x1024",)
    assert (job.fit, job.focus, job.ground, job.rush) == ("cover", (0.5, 0.5), (0, 0, 0), False)
    assert (job.motion.fps, job.motion.finish) == ("auto", 0.95)
    assert job.part == ()


def test_the_whole_manifest_of_the_design_is_read() -> None:
    job = reading.parse(
        LEAST
        + b"""
job = "van-two"
artist = "Ines"
rush = true
background = "#0B1D2A"
fit = "contain"
focus = [0.5, 0.4]
[logo]
art = "logo.png"
[motion]
fps = 12
finish = 0.9
[[part]]
art = "lamps/*.png"
plays = 1
pause = 0.5
[[part]]
art = "lamps/0048.png"
plays = "until-booted"
"""
    )
    assert job.ground == (0x0B, 0x1D, 0x2A)
    assert job.part[0].pause == 0.5
    assert job.part[1].plays == "until-booted"


def test_one_radio_or_several() -> None:
    assert reading.parse(LEAST.replace(b'"tall-768x1024"', b'["a", "b"]')).radio == ("a", "b")
    assert "radio" in refused(LEAST.replace(b'"tall-768x1024"', b'["a", "a"]'))


@pytest.mark.parametrize(
    ("line", "vehicles"),
    [
        (b"", ()),
        (b'vehicles = ["Van 1", "Van 2"]', ("Van 1", "Van 2")),
        (b'vehicles = "Van 1"', ("Van 1",)),
        (b'vehicle = "Van 1"', ("Van 1",)),
        (b'Vehicles = [1, "Van 2"]', ("1", "Van 2")),
    ],
)
def test_a_job_may_name_its_vehicles(line: bytes, vehicles: tuple[str, ...]) -> None:
    assert reading.parse(LEAST + line).every_vehicle == vehicles


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (b'vehicles = ["Van 1", "van  1"]', "names a vehicle twice"),
        (b'vehicle = "Van 1"\nvehicles = ["Van 2"]', "leave vehicle out"),
        (b'vehicles = ["Van\\n1"]', "single line"),
        (b'vehicles = [""]', "empty"),
    ],
)
def test_vehicles_that_cannot_be_told_apart_are_refused(lines: bytes, words: str) -> None:
    assert words in str(refused(LEAST + lines))


def test_vehicles_may_differ_by_a_hyphen() -> None:
    assert reading.parse(LEAST + b'vehicles = ["11", "1-1"]').every_vehicle == ("11", "1-1")


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ('art = "a.gif"\nstart = 2\nstop = 2\n', "stop = 2 is not after start = 2"),
        ('art = "a.gif"\nstart = 3.5\nstop = 1\n', "stop = 1 is not after start = 3.5"),
        ('glide = { sprite = "a", path = [[0, 0]], frames = 9 }\nstart = 1\n', "start and stop cut a clip"),
        (
            'glide = { sprite = "a", path = [[0, 0]], frames = 9 }\nbackdrop = "b.png"\n',
            "no backdrop or pan here",
        ),
    ],
)
def test_fields_of_a_part_that_do_not_go_together_are_refused(part: str, words: str) -> None:
    (reason,) = refused(LEAST + f"[[part]]\n{part}".encode()).values()
    assert reason.field == "part.1"
    assert words in reason.what


@pytest.mark.parametrize(
    ("part", "timed"),
    [
        ('art = "a.png"\npan = { seconds = 2 }\n', True),
        ('art = "a.png"\npan = { frames = 20 }\n', False),
        ('art = "a.png"\ncrossfade = { to = "b.png", seconds = 1 }\n', True),
        ('art = "a.png"\n', False),
    ],
)
def test_a_part_lasts_seconds_where_something_drawn_in_it_does(part: str, timed: bool) -> None:
    assert reading.parse(LEAST + f"[[part]]\n{part}".encode()).part[0].lasts_seconds is timed


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"gap": 2}, "sheet"),
        ({"sheet": [8, 4], "start": 1.0}, "cut into frames"),
        ({"sheet": [500, 500]}, "more than"),
    ],
)
def test_a_sheet_stands_alone_and_is_bounded(values: dict[str, object], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        Part.model_validate({"art": "a.png", **values})
    assert Part.model_validate({"art": "a.png", "sheet": [8, 4], "gap": 2}).sheet == (8, 4)
