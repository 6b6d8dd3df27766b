"""The picture and the page of what films taught: well-formed, safe, and true to the figures."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from calibration_samples import ADDITIVE
from film_series import Camera, Start
from keyturn.calibrate.film_learning import FilmLearnt, learn_films
from keyturn.calibrate.film_page import FOOT, HIGH, LEFT, RIGHT, TOP, WIDE, chart, film_page, picture
from page_text import text_of

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def told() -> FilmLearnt:
    names = ("one.mp4", "<script>alert(1)</script>.mp4")
    starts = (Start(boot_ms=12_930), Start(boot_ms=13_555, holds={"2/0020.png": 700.0}))
    return learn_films(ADDITIVE, [Camera(seed=3).film(start, name) for start, name in zip(starts, names, strict=True)])


def test_the_picture_is_well_formed_and_has_dots_line_and_cut_of_each_film(told: FilmLearnt) -> None:
    """Read by the XML parser of Python's standard library."""
    root = ET.fromstring(picture(told))
    assert root.tag == f"{SVG}svg"
    films = root.findall(f"{SVG}g")
    assert [film.findtext(f"{SVG}title") for film in films] == [start.timeline.film for start in told.starts]
    for film in films:
        assert len(film.findall(f"{SVG}circle")) > 90
        assert len(film.findall(f"{SVG}polyline")) == len(film.findall(f"{SVG}line")) == 1


def test_dots_lie_on_the_fitted_line_and_in_the_frame(told: FilmLearnt) -> None:
    drawn = chart(told)
    for film, start in zip(drawn.films, told.starts, strict=True):
        (x1, y1), (x2, y2) = film.line
        later = np.array([dot for dot in film.dots if dot[0] > 0.7 * film.cut_x])
        expected = y1 + (later[:, 0] - x1) * (y2 - y1) / (x2 - x1)
        assert np.abs(later[:, 1] - expected).max() < 3
        xs, ys = np.array(film.dots).T
        assert xs.min() >= LEFT and xs.max() <= WIDE - RIGHT
        assert ys.min() >= TOP and ys.max() <= HIGH - FOOT
        share = (film.cut_x - LEFT) / (WIDE - RIGHT - LEFT)
        assert share * 1.04 * max(s.boot_s for s in told.starts) == pytest.approx(start.boot_s, abs=0.02)


def test_the_page_says_all_and_a_name_cannot_run(told: FilmLearnt) -> None:
    page = film_page(told, "Tall panel", "2026-03-01", "Kept in rules/radios/tall-768x1024.toml")
    assert "<script>alert" not in page
    text = text_of(page)
    for said in ("Tall panel", "2 starts on film, 2026-03-01", "What is doubtful", "held frame 49", "Kept in rules"):
        assert said in text
    assert "118.0 ms" in text
