"""Sprites on a frame: in linear light, to a fraction of a pixel, and nothing where they are not."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from keyturn.flatten import figures
from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.motion import Pose
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Intake, Rulebook

SIZE = (240, 160)
Show = Callable[..., np.ndarray]
Needs = Callable[[str], str]


def light(codes: np.ndarray) -> np.ndarray:
    """Linear light of sRGB codes (IEC 61966-2-1)."""
    share = np.asarray(codes, float) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def codes(linear: np.ndarray) -> np.ndarray:
    """sRGB codes, not rounded, of linear light (IEC 61966-2-1)."""
    return 255 * np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)


@pytest.fixture
def intake(rules: Rulebook) -> Intake:
    return rules.intake


@pytest.fixture
def show(tmp_path: Path, intake: Intake) -> Show:
    """show(sprite, x, y, height, turn=0, opacity=1, ground=(0, 0, 0), pivot=(0.5, 0.5)): the frame as codes in an
    array (rows, columns, 3)."""

    def make(
        sprite: Image.Image,
        x: float,
        y: float,
        height: float,
        turn: float = 0.0,
        opacity: float = 1.0,
        ground: tuple[int, int, int] = (0, 0, 0),
        pivot: tuple[float, float] = (0.5, 0.5),
    ) -> np.ndarray:
        path = tmp_path / "sprite.png"
        if not path.exists():
            sprite.save(path)
        placed = Placed(Figure("sprite.png", path), Pose(x, y, height, turn, opacity, pivot))
        made, reasons = figures.drawn(Image.new("RGB", SIZE, ground), placed, intake)
        assert reasons == ()
        return np.asarray(made)

    return make


def white(size: tuple[int, int], draw: Callable[[ImageDraw.ImageDraw], None]) -> Image.Image:
    """White where `draw` fills, see-through elsewhere."""
    shape = Image.new("L", size)
    draw(ImageDraw.Draw(shape))
    made = Image.new("RGBA", size, (255, 255, 255, 0))
    made.putalpha(shape)
    return made


def slab(wide: int = 120, high: int = 40) -> Image.Image:
    return white((wide, high), lambda ink: ink.rectangle((0, 0, wide, high), fill=255))


class Moments:
    """Moments of a white shape's light on black (M.-K. Hu, 1962): area, middle, and spread along its axes."""

    def __init__(self, frame: np.ndarray) -> None:
        weight = light(frame[..., 1])
        self.area = weight.sum()
        y, x = (axis + 0.5 for axis in np.mgrid[: frame.shape[0], : frame.shape[1]])
        self.x, self.y = ((weight * axis).sum() / self.area for axis in (x, y))
        dx, dy = x - self.x, y - self.y
        spread = [[(weight * a * b).sum() / self.area for a in (dx, dy)] for b in (dx, dy)]
        values, vectors = np.linalg.eigh(spread)
        self.short, self.long = np.sqrt(12 * values)  # a bar of length L spreads L / sqrt(12)
        self.degrees = float(np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1]))) % 180


# -- place ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_a_sprite_is_where_it_says_to_a_twentieth_of_a_pixel(show: Show, turn: float) -> None:
    """Its light's centroid against the place asked for, at forty places between two pixels."""
    disc = white((90, 90), lambda ink: ink.ellipse((4, 4, 85, 85), fill=255))
    for step in range(40):
        x, y = 100 + step / 40, 70.3 + step * 0.173
        found = Moments(show(disc, x, y, 31.0, turn))
        assert np.hypot(found.x - x, found.y - y) < 0.05


def test_what_is_off_a_sprite_s_middle_moves_and_turns_with_it(show: Show) -> None:
    """A square at (75, 15) of a 100 x 60 sprite is (25, -15) from its middle; turned 90 degrees clockwise it is
    (15, 25) from it (y runs downwards). Plane geometry."""
    sprite = white((100, 60), lambda ink: ink.rectangle((70, 10, 79, 19), fill=255))
    level, turned = Moments(show(sprite, 120.25, 80.5, 30)), Moments(show(sprite, 120.25, 80.5, 30, 90))
    assert (level.x, level.y) == pytest.approx((120.25 + 12.5, 80.5 - 7.5), abs=0.05)
    assert (turned.x, turned.y) == pytest.approx((120.25 + 7.5, 80.5 + 12.5), abs=0.05)


@pytest.mark.system
@pytest.mark.parametrize(
    ("pivot", "turn"), [((0.5, 0.0), 20.0), ((0.5, 0.0), -35.5), ((0.1, 0.9), 70.0), ((1.2, -0.4), 9.0)]
)
def test_a_sprite_swings_about_its_pivot_as_imagemagick_draws_it(
    show: Show, tmp_path: Path, needs: Needs, pivot: tuple[float, float], turn: float
) -> None:
    """ImageMagick's -distort SRT 'X,Y Scale Angle NewX,NewY' (usage/distorts, Scale-Rotate-Translate): the point X,Y of
    the picture goes to NewX,NewY, and the picture is scaled and turned clockwise about it."""
    sprite = white(
        (100, 60), lambda ink: (ink.rectangle((8, 6, 91, 20), fill=255), ink.rectangle((8, 21, 30, 53), fill=255))
    )
    ours = show(sprite, 130.0, 70.0, 45.0, turn, pivot=pivot)
    srt = f"{pivot[0] * 100},{pivot[1] * 60} 0.75 {turn} 130,70"
    view = f"{SIZE[0]}x{SIZE[1]}+0+0"
    command = [
        "convert",
        str(tmp_path / "sprite.png"),
        "-virtual-pixel",
        "transparent",
        "-set",
        "option:distort:viewport",
    ]
    command += [view, "-distort", "SRT", srt, "-background", "black", "-flatten", f"PNG24:{tmp_path / 'theirs.png'}"]
    subprocess.run(command, check=True)
    with Image.open(tmp_path / "theirs.png") as made:
        theirs = np.asarray(made.convert("RGB"))
    mine, other = Moments(ours), Moments(theirs)
    assert (mine.x, mine.y) == pytest.approx((other.x, other.y), abs=0.3)
    assert abs((mine.degrees - other.degrees + 90) % 180 - 90) < 0.5
    assert np.abs(ours.astype(int) - theirs).mean() < 4, "the rest is how edges are softened"


@pytest.mark.parametrize("height", [9.0, 20.0, 33.4, 60.0])
def test_a_sprite_is_as_large_as_it_says(show: Show, height: float) -> None:
    """Area and spread of a slab three times as wide as high; edges are soft by about a pixel."""
    found = Moments(show(slab(), 120.3, 80.6, height))
    assert found.area == pytest.approx(3 * height * height, rel=0.04)
    assert found.long == pytest.approx(3 * height, rel=0.02)
    assert found.short == pytest.approx(height, rel=0.02, abs=0.3)


@pytest.mark.parametrize("turn", [-400.0, -30.0, 0.0, 12.5, 45.0, 90.0, 180.0, 271.0])
def test_a_sprite_is_turned_clockwise_by_the_degrees_it_says(show: Show, turn: float) -> None:
    """The long axis of its second moments; with y downwards a clockwise turn counts up."""
    found = Moments(show(slab(), 120.4, 79.8, 24, turn))
    off = (found.degrees - turn + 90) % 180 - 90
    assert abs(off) < 0.2
    assert found.long == pytest.approx(72, rel=0.02)


def test_its_light_stays_the_same_between_pixels(show: Show) -> None:
    """Mixed in sRGB codes instead, a thin white bar on black would lose a quarter of its light between pixels."""
    bar = white((8, 80), lambda ink: ink.rectangle((2, 2, 5, 77), fill=255))
    areas = [Moments(show(bar, 100 + step / 16, 80, 40)).area for step in range(17)]
    assert max(areas) / min(areas) < 1.01


# -- light ------------------------------------------------------------------------------------------


def _over(sprite: np.ndarray, ground: np.ndarray, opacity: float) -> np.ndarray:
    """ "Source over" (W3C Compositing and Blending, level 1, 9.1.4) on linear light, in codes."""
    alpha = sprite[..., 3:] / 255 * opacity
    return codes(light(sprite[..., :3]) * alpha + light(ground) * (1 - alpha))


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.floats(0, 1))
def test_mixing_is_source_over_in_linear_light(number: int, opacity: float) -> None:
    """An independent float64 reference, for a sprite that falls on whole pixels: within rounding of it."""
    chance = np.random.default_rng(number)
    sprite = chance.integers(0, 256, (9, 14, 4), np.uint8)
    ground = chance.integers(0, 256, (20, 30, 3), np.uint8)
    planes = figures.premultiplied(Image.fromarray(sprite, "RGBA"))
    made = np.asarray(figures.composited(Image.fromarray(ground, "RGB"), planes, 1.0, (10.0, 8.5), opacity))
    expected = ground.astype(float)
    expected[4:13, 3:17] = _over(sprite, ground[4:13, 3:17], opacity)
    assert np.abs(made - expected).max() <= 0.53
    outside = np.ones(ground.shape[:2], bool)
    outside[4:13, 3:17] = False
    assert np.array_equal(made[outside], ground[outside])


def test_half_of_white_over_black_is_half_the_light(show: Show) -> None:
    """Half of linear light is sRGB code 187.5 (IEC 61966-2-1), not 128."""
    assert show(slab(), 120, 80, 40, opacity=0.5)[80, 120].tolist() == [188, 188, 188]


def test_see_through_colours_leave_no_fringe(show: Show) -> None:
    """A red disc whose see-through surround is coloured green (as paint programs leave it), on red: red all over."""
    shape = Image.new("L", (60, 60))
    ImageDraw.Draw(shape).ellipse((10, 10, 50, 50), fill=255)
    sprite = Image.new("RGBA", (60, 60), (0, 255, 0, 255))
    sprite.paste((200, 0, 0, 255), mask=shape)
    sprite.putalpha(shape.point([255 if v == 255 else 0 for v in range(256)]))
    frame = show(sprite, 120.4, 80.3, 31, 20, ground=(200, 0, 0))
    assert frame[..., 1].max() <= 1
    assert frame[..., 0].min() >= 198


# -- nothing where nothing is -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("x", "y", "opacity"),
    [(-60.0, 80.0, 1.0), (300.0, 80.0, 1.0), (120.0, -30.0, 1.0), (120.0, 190.0, 1.0), (120, 80, 0)],
)
def test_off_the_panel_or_faded_out_the_frame_is_the_backdrop(
    tmp_path: Path, intake: Intake, x: float, y: float, opacity: float
) -> None:
    ground = Image.fromarray(np.random.default_rng(1).integers(0, 256, (160, 240, 3), np.uint8))
    slab().save(tmp_path / "sprite.png")
    placed = Placed(Figure("sprite.png", tmp_path / "sprite.png"), Pose(x, y, 36, 0, opacity))
    made, _ = figures.drawn(ground, placed, intake)
    assert made.tobytes() == ground.tobytes()


def test_half_off_the_panel_the_other_half_is_seen(show: Show) -> None:
    frame = show(slab(), 0, 80, 40)
    assert Moments(frame).area == pytest.approx(60 * 40, rel=0.03)
    assert frame[:, 62:].max() == 0


def test_a_picture_that_cannot_be_read_is_refused_by_its_name(tmp_path: Path, intake: Intake) -> None:
    (tmp_path / "van.png").write_bytes(b"\x89PNG\r\n\x1a\n and no more")
    with pytest.raises(Refused) as caught:
        figures.drawn(
            Image.new("RGB", SIZE), Placed(Figure("van.png", tmp_path / "van.png"), Pose(9, 9, 9, 0, 1)), intake
        )
    assert {r.file for r in caught.value.reasons} == {"van.png"}


def test_a_file_that_was_replaced_is_read_anew(tmp_path: Path, intake: Intake) -> None:
    path, frames = tmp_path / "van.png", []
    for number, colour in enumerate(("#ff0000", "#0000ff")):
        Image.new("RGBA", (40, 40), colour).save(path)
        os.utime(path, ns=(number, number))
        made, _ = figures.drawn(
            Image.new("RGB", SIZE), Placed(Figure("van.png", path), Pose(120, 80, 40, 0, 1)), intake
        )
        frames.append(made.getpixel((120, 80)))
    assert frames == [(255, 0, 0), (0, 0, 255)]


# -- text -------------------------------------------------------------------------------------------


def test_words_are_drawn_in_their_colour_centred_and_in_proportion(intake: Intake) -> None:
    def words(height: float) -> np.ndarray:
        figure = Figure("job.toml", text="HOH", colour=(255, 255, 255))
        made, _ = figures.drawn(Image.new("RGB", SIZE), Placed(figure, Pose(120.0, 80.0, height, 0, 1)), intake)
        return np.asarray(made)

    small, large = Moments(words(30)), Moments(words(60))
    assert abs(small.x - 120) < 0.6
    assert large.area == pytest.approx(4 * small.area, rel=0.06)
    assert words(60).max() == 255


def test_letters_without_a_shape_are_named() -> None:
    """Pillow's own typeface has the Latin alphabet of English and no Cyrillic (seen in it)."""
    assert figures.letters_missing("Fern Hollow, 9 to 5!") == ""
    assert figures.letters_missing("Привет, Fern") == "Привет"
