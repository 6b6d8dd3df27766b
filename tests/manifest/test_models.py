"""job.toml: every default is what a person would guess."""

from __future__ import annotations

import pytest

from keyturn.manifest import reading
from keyturn.shop.reasons import Reason, Refused

LEAST = b'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\n'


def refused(data: bytes) -> dict[str, Reason]:
    with pytest.raises(Refused) as caught:
        reading.parse(data)
    return {str(r.field): r for r in caught.value.reasons}


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
