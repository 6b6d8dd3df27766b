"""Tables for drawn frames: a glide takes what the artist may write, and says what is wrong with the rest."""

from __future__ import annotations

import pytest

from keyturn.manifest import reading
from keyturn.manifest.drawn_frames import Glide
from keyturn.shop.reasons import Refused

HEAD = 'customer = "C"\nradio = "tiny"\n'
GLIDE = '[[part]]\n[part.glide]\nbackdrop = "lake.png"\nsprite = "van.png"\npath = [[-0.5, 0.5], [1.5, 0.5]]\n'


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        ("[[part]]\nplays = 2\n", "part.1", "either art"),
        (GLIDE.replace("[[part]]", '[[part]]\nart = "a/*"') + "frames = 9\n", "part.1", "not both"),
        (GLIDE, "part.1.glide", "frames = 60"),
        (GLIDE + "frames = 9\nseconds = 3\n", "part.1.glide", "not both"),
        (GLIDE + 'frames = 9\ntext = "Hello"\n', "part.1.glide", "either sprite"),
        (GLIDE.replace("path", "# path") + "frames = 9\n", "part.1.glide", "needs a path"),
        (GLIDE + "frames = 9\nfade = [0.7, 0.7]\n", "part.1.glide", "more than the whole"),
        (GLIDE + "frames = 9\npth = 3\n", "part.1.glide.pth", "no key"),
        (GLIDE + 'frames = 9\nease = "bouncy"\n', "part.1.glide.ease", "none of the words"),
        ('[[part]]\nart = "a"\ncrossfade = { frames = 9 }\n', "part.1.crossfade", 'from = "logo"'),
        ('[[part]]\nart = "a"\npan = { from = [0.5, 0, 0.2, 1], frames = 9 }\n', "part.1.pan", "right beyond left"),
    ],
)
def test_a_glide_that_is_not_understood_is_told_in_the_artist_s_words(text: str, field: str, words: str) -> None:
    with pytest.raises(Refused) as caught:
        reading.parse((HEAD + text).encode())
    (reason,) = caught.value.reasons
    assert reason.field == field and words in reason.what and reason.mend


def test_what_stands_in_the_glide_holds_for_all_its_sprites() -> None:
    text = (
        '[[part]]\n[part.glide]\nframes = 9\npath = [[0, 0.5], [1, 0.5]]\nease = "in"\n'
        '[[part.glide.sprite]]\nart = "van.png"\n'
        '[[part.glide.sprite]]\ntext = "Fern Hollow"\nease = "out"\npath = [[0.5, 0.2]]\n'
    )
    glide = reading.parse((HEAD + text).encode()).part[0].glide
    assert glide
    assert [(s.ease, len(s.path)) for s in glide.sprites] == [("in", 2), ("out", 1)]


def glide(lines: str) -> Glide:
    made = reading.parse((HEAD + GLIDE + lines).encode()).part[0].glide
    assert made is not None
    return made


@pytest.mark.parametrize(
    ("length", "rate", "frames"),
    [("frames = 60", 5, 60), ("frames = 60", 30, 60), ("seconds = 4", 12, 48), ("seconds = 2.5", 15, 38),
     ("seconds = 0.01", 10, 2)],
)  # fmt: skip
def test_a_length_in_frames_ignores_the_rate_and_one_in_seconds_follows_it(
    length: str, rate: float, frames: int
) -> None:
    """Seconds times rate, rounded (2.5 x 15 = 37.5), and never less than the first and the last frame."""
    assert glide(length).count(rate) == frames


def test_one_number_stands_for_a_start_and_an_end_that_are_equal() -> None:
    (sprite,) = glide("frames = 9\nsize = 0.3\nturn = 15\n").sprites
    assert (sprite.size, sprite.turn) == ((0.3, 0.3), (15, 15))


def test_a_sprite_may_swing_about_a_point_of_its_own() -> None:
    (sprite,) = glide("frames = 9\nturn = [-20, 20, -20]\npivot = [0.5, 0]\n").sprites
    assert (sprite.turn, sprite.pivot) == ((-20, 20, -20), (0.5, 0))
    assert glide("frames = 9\n").sprites[0].pivot == (0.5, 0.5), "its middle"


def test_a_pan_starts_and_ends_where_the_whole_picture_is_shown_unless_told() -> None:
    pan = (
        reading.parse((HEAD + '[[part]]\nart = "a.png"\npan = { frames = 9, to = [0, 0, 0.5, 0.5] }\n').encode())
        .part[0]
        .pan
    )
    assert pan is not None
    assert (pan.start, pan.stop) == ((0, 0, 1, 1), (0, 0, 0.5, 0.5))


def test_a_glide_names_its_backdrop_and_the_pictures_of_its_sprites() -> None:
    assert glide("frames = 9\n").pictures() == ["lake.png", "van.png"]
