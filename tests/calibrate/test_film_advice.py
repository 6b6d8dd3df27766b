"""How to film better."""

from __future__ import annotations

import pytest

from keyturn.calibrate import film_advice
from keyturn.calibrate.code_reading import CodeRead
from keyturn.calibrate.film_code import Code
from keyturn.calibrate.screen_looks import FilmLook
from keyturn.shop.reasons import Kind


def look(*, tall: float = 0.7, bright: float = 200.0, marks: int = 6) -> FilmLook:
    return FilmLook(0.0, CodeRead(Code(10, False, 5), 1.0, bright, 20.0), marks, None, tall)


@pytest.mark.parametrize(
    ("seen", "what", "mend"),
    [
        (look(tall=0.1), "only 10 % as high as the film", "go closer"),
        (look(bright=40.0), "hardly be told apart", "lock the phone's exposure"),
        (look(marks=4), "a reflection or a hand", "shade the glass"),
        (look(), "blurred, or the screen flickers", "30 or 60 pictures a second"),
    ],
)
def test_the_likeliest_cause_is_named_with_what_helps(seen: FilmLook, what: str, mend: str) -> None:
    for first, cause in (
        film_advice.hardly_readable("start1.mp4", [seen] * 9, 3),
        film_advice.often_unreadable("start1.mp4", [seen] * 9, 0.3),
        film_advice.doubts("start1.mp4", [seen] * 9, 0.7),
    ):
        assert what in cause.what and mend in cause.mend and "propped up" in first.mend
        assert first.file == cause.file == "start1.mp4"


def test_a_film_without_a_screen_is_refused_and_a_good_one_raises_no_doubt() -> None:
    refused, how = film_advice.without_screen("start1.mp4", 300)
    assert refused.kind is Kind.REFUSE and "made for this radio" in refused.mend and "ring marks" in how.mend
    assert not film_advice.doubts("start1.mp4", [look()] * 9, 0.95)
