"""Art that Keyturn makes from the artist's: orders, dissolves, pans, layers and glides, from job.toml to the zip."""

from __future__ import annotations

import io
import itertools
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from keyturn.commands import make_by_hand
from keyturn.flatten.frame_source import Box
from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.pipeline import Bench
from keyturn.renumber import pans_and_dissolves
from keyturn.renumber.parts import JobArt, job_art
from keyturn.renumber.plan import Plan, plan
from keyturn.shop.reasons import Kind, Reason, Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import LocalCrew
from samples import picture

SAMPLE = Path(__file__).parents[2] / "sample_inbox" / "ferry-glide"
HEAD = 'customer = "C"\nradio = "tiny"\n'
GLIDE = '[[part]]\n[part.glide]\nbackdrop = "lake.png"\nsprite = "van.png"\npath = [[-0.5, 0.5], [1.5, 0.5]]\n'
SIZE = (48, 64)


def van(size: tuple[int, int] = (40, 20)) -> Image.Image:
    made = Image.new("RGBA", size)
    ImageDraw.Draw(made).rectangle((2, 2, size[0] - 3, size[1] - 3), fill=(200, 60, 40, 255))
    return made


@pytest.fixture
def folder(tmp_path: Path) -> Callable[..., Path]:
    """folder("text of job.toml", name=picture, ...): a drop; always with lake.png and van.png."""

    def make(text: str, name: str = "drop", **pictures: Image.Image) -> Path:
        root = tmp_path / name
        root.mkdir()
        for stem, art in {"lake": picture(SIZE, 5), "van": van(), **pictures}.items():
            art.save(root / f"{stem}.png")
        (root / "job.toml").write_text(HEAD + text, encoding="utf-8")
        return root

    return make


@pytest.fixture
def frames(folder: Callable[..., Path], bench: Bench, tmp_path: Path) -> Callable[..., list[list[np.ndarray]]]:
    """frames("text", ...): the made animation's pictures, part by part."""

    def make(text: str, **pictures: Image.Image) -> list[list[np.ndarray]]:
        made = make_by_hand.make(folder(text, **pictures), tmp_path / "out", bench)
        assert made.folder
        return unpacked(made.folder)

    return make


def unpacked(revision: Path) -> list[list[np.ndarray]]:
    parts: dict[str, list[np.ndarray]] = {}
    with zipfile.ZipFile(revision / "usb" / "bootanimation.zip") as pack:
        for name in sorted(n for n in pack.namelist() if n.endswith(".png")):
            with Image.open(io.BytesIO(pack.read(name))) as frame:
                parts.setdefault(name.split("/")[0], []).append(np.asarray(frame.convert("RGB")))
    return list(parts.values())


def equal(a: np.ndarray, b: np.ndarray | Image.Image) -> bool:
    return np.array_equal(a, np.asarray(b))


# -- order ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reverse", "back", "rests", "expected"),
    [
        (False, False, False, "1234"),
        (True, False, False, "4321"),
        (False, True, False, "123432"),
        (False, True, True, "1234321"),
        (True, True, False, "432123"),
    ],
)
def test_orders(reverse: bool, back: bool, rests: bool, expected: str) -> None:
    """There and back shows neither end twice (common practice, no source)."""
    found = pans_and_dissolves.reordered("1234", reverse=reverse, there_and_back=back, rests=rests)
    assert "".join(found) == expected


@settings(deadline=None)
@given(st.integers(1, 40), st.booleans(), st.booleans())
def test_there_and_back_never_shows_a_frame_twice_in_a_row(count: int, reverse: bool, rests: bool) -> None:
    shown = pans_and_dissolves.reordered(range(count), reverse=reverse, there_and_back=True, rests=rests)
    seam = shown if rests or len(shown) < 2 else (*shown, shown[0])
    assert all(a != b for a, b in itertools.pairwise(seam))
    assert set(shown) == set(range(count))


def test_backwards_the_last_picture_that_holds_is_the_first(frames: Callable[..., list[list[np.ndarray]]]) -> None:
    """Part one of three pictures backwards, then the hold."""
    art = {f"f{n}": picture(SIZE, n) for n in (1, 2, 3)}
    played, hold = frames('[[part]]\nart = "f*.png"\nreverse = true\n', **art)
    assert [equal(a, art[f"f{n}"]) for a, n in zip(played, (3, 2, 1), strict=True)] == [True] * 3
    assert len(hold) == 1 and equal(hold[0], art["f1"])


def test_a_loop_there_and_back(frames: Callable[..., list[list[np.ndarray]]]) -> None:
    art = {f"f{n}": picture(SIZE, n) for n in (1, 2, 3)}
    (loop,) = frames('[[part]]\nart = "f*.png"\nthere_and_back = true\nplays = "until-booted"\n', **art)
    assert [equal(a, art[f"f{n}"]) for a, n in zip(loop, (1, 2, 3, 2), strict=True)] == [True] * 4


# -- layers, dissolves, pans ------------------------------------------------------------------------


def test_see_through_frames_lie_on_the_backdrop(frames: Callable[..., list[list[np.ndarray]]]) -> None:
    """Pillow's alpha_composite as reference; it may round the other way."""
    layers = {f"f{n}": van(SIZE) for n in (1, 2)}
    layers["f2"].putalpha(layers["f2"].getchannel("A").point([v // 3 for v in range(256)]))
    played, _ = frames('[[part]]\nart = "f*.png"\nbackdrop = "lake.png"\n', **layers)
    for made, layer in zip(played, layers.values(), strict=True):
        ground = picture(SIZE, 5).convert("RGBA")
        ground.alpha_composite(layer)
        assert np.abs(made.astype(int) - np.asarray(ground.convert("RGB"))).max() <= 1


def test_a_dissolve_goes_evenly_from_one_picture_to_the_other(frames: Callable[..., list[list[np.ndarray]]]) -> None:
    """Straight mixtures of the two, in float; within the rounding of an 8-bit share and a code."""
    day, night = Image.new("RGB", SIZE, (220, 180, 90)), Image.new("RGB", SIZE, (20, 30, 70))
    text = '[[part]]\nart = "day.png"\ncrossfade = { to = "night.png", frames = 8 }\n'
    played, hold = frames(text, day=day, night=night)
    assert len(played) == 9
    assert equal(played[0], day) and equal(played[-1], night) and equal(hold[0], night)
    for number, made in enumerate(played):
        expected = np.array((220, 180, 90)) * (1 - number / 8) + np.array((20, 30, 70)) * number / 8
        assert np.abs(made - expected).max() <= 1.0


def test_a_pan_approaches_by_the_same_factor_around_one_point() -> None:
    """Geometry: the widths are a geometric series, and one point of the picture keeps its place on the panel."""
    first, last = (0.0, 0.0, 800.0, 400.0), (300.0, 100.0, 500.0, 200.0)
    views = np.array(pans_and_dissolves.pan_boxes(first, last, 13, "linear"))
    wide = views[:, 2] - views[:, 0]
    assert wide[1:] / wide[:-1] == pytest.approx(np.full(12, (1 / 4) ** (1 / 12)))
    still = 300 / (1 - 200 / 800)  # left = still - still * wide / 800 at both ends
    assert (still - views[:, 0]) / wide == pytest.approx(np.full(13, still / 800))
    assert (views[0].tolist(), views[-1].tolist()) == (list(first), pytest.approx(list(last)))


def test_a_pan_without_approach_is_even() -> None:
    views = np.array(pans_and_dissolves.pan_boxes((0, 0, 100, 50), (40, 20, 140, 70), 11, "linear"))
    assert np.diff(views[:, 0]) == pytest.approx(np.full(10, 4.0))


boxes = st.tuples(st.floats(0, 0.4), st.floats(0, 0.4), st.floats(0.5, 1), st.floats(0.5, 1))
sides = st.integers(16, 4000)


@settings(deadline=None)
@given(boxes, st.tuples(sides, sides), st.tuples(sides, sides))
def test_what_a_pan_shows_has_the_panel_s_shape_and_lies_in_its_box(
    box: Box, art: tuple[int, int], panel: tuple[int, int]
) -> None:
    left, top, right, bottom = pans_and_dissolves.panel_shaped(box, art, panel)
    assert (right - left) * panel[1] == pytest.approx((bottom - top) * panel[0])
    inside = [left >= box[0] * art[0] - 1e-6, right <= box[2] * art[0] + 1e-6]
    inside += [top >= box[1] * art[1] - 1e-6, bottom <= box[3] * art[1] + 1e-6]
    assert all(inside)


def test_a_pan_begins_and_ends_with_the_stretches_named(frames: Callable[..., list[list[np.ndarray]]]) -> None:
    """Whole-pixel stretches against Pillow's own crop of them."""
    wide = Image.fromarray(np.random.default_rng(2).integers(60, 90, (64, 192, 3), np.uint8))
    text = '[[part]]\nart = "wide.png"\npan = { from = [0, 0, 0.25, 1], to = [0.75, 0, 1, 1], frames = 7 }\n'
    played, hold = frames(text, wide=wide)
    assert len(played) == 7
    assert equal(played[0], wide.crop((0, 0, 48, 64)))
    assert equal(played[-1], wide.crop((144, 0, 192, 64))) and equal(hold[0], played[-1])
    assert equal(played[3], wide.crop((72, 0, 120, 64)))


# -- what the artist hears --------------------------------------------------------------------------


@pytest.fixture
def understood(folder: Callable[..., Path], rules: Rulebook) -> Callable[..., tuple[JobArt, Plan]]:
    def make(text: str, **pictures: Image.Image) -> tuple[JobArt, Plan]:
        root = folder(text, **pictures)
        job = reading.read(root)
        art = job_art(job, survey(root, rules.intake), rules.intake)
        return art, plan(job, art, root, rules.radios["tiny"], rules.intake)

    return make


def refused(caught: pytest.ExceptionInfo[Refused]) -> dict[str, Reason]:
    return {r.code: r for r in caught.value.reasons if r.kind is Kind.REFUSE}


def test_a_glide_needs_no_numbered_pictures_and_none_is_called_unused(
    understood: Callable[..., tuple[JobArt, Plan]],
) -> None:
    art, planned = understood(GLIDE + "frames = 30\n")
    assert "art-unused" not in {r.code for r in art.reasons}
    once, hold = planned.parts
    assert (len(once.sources), len(hold.sources)) == (30, 1)
    assert hold.sources[0] == once.sources[-1]


@pytest.mark.parametrize(("fps", "expected"), [(8, 19), (12, 29), (15, 35)])
def test_what_is_to_last_some_seconds_lasts_them_on_the_radio(
    understood: Callable[..., tuple[JobArt, Plan]], fps: int, expected: int
) -> None:
    """2.5 s / (1 / fps + decode + draw), rounded: a first-generation player adds the cost of a frame to its time
    (Android Open Source Project, cmds/bootanimation). The radio's cost here is 18 x 0.003072 + 4 = 4.055 ms."""
    part = GLIDE.replace("[[part]]\n", "[[part]]\nplays = 1\n")
    _, planned = understood(f"[motion]\nfps = {fps}\n{part}seconds = 2.5\n")
    assert len(planned.parts[0].sources) == expected
    assert planned.once_only_s == pytest.approx(2.5, abs=0.5 / fps + 0.005)


def test_what_lasts_seconds_is_not_slowed_to_a_slide_show(understood: Callable[..., tuple[JobArt, Plan]]) -> None:
    _, planned = understood(GLIDE + "seconds = 4\n")
    assert planned.fps >= 12
    assert planned.once_only_s == pytest.approx(4, rel=0.4)


def test_capitals_of_a_sprite_s_name_are_mended(understood: Callable[..., tuple[JobArt, Plan]]) -> None:
    art, planned = understood(GLIDE.replace("van.png", "Van.PNG") + "frames = 4\n")
    assert "capitals-differ" in {r.code for r in art.reasons}
    assert planned.parts[0].sources[0].figures[0].figure.name == "van.png"


def test_a_sprite_much_smaller_than_it_is_shown_is_told(understood: Callable[..., tuple[JobArt, Plan]]) -> None:
    """6 px shown 0.5 x 64 = 32 px high: 5.3 times."""
    _, planned = understood(GLIDE + "frames = 4\nsize = [0.1, 0.5]\n", van=van((10, 6)))
    (soft,) = [r for r in planned.reasons if r.code == "art-soft"]
    assert soft.file == "van.png" and "5.3 times" in soft.what


@pytest.mark.parametrize(
    ("text", "code", "field"),
    [
        (GLIDE.replace("van", "bus") + "frames = 9\n", "picture-missing", "part.1.glide.sprite.1.art"),
        (GLIDE.replace("lake", "sea") + "frames = 9\n", "picture-missing", "part.1.glide.backdrop"),
        ('[[part]]\nart = "lake.png"\nbackdrop = "sea.png"\n', "picture-missing", "part.1.backdrop"),
        ('[[part]]\nart = "*.png"\npan = { frames = 9 }\n', "pan-of-several", "part.1.art"),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_its_place(
    understood: Callable[..., tuple[JobArt, Plan]], text: str, code: str, field: str
) -> None:
    with pytest.raises(Refused) as caught:
        understood(text)
    found = refused(caught)
    assert set(found) == {code}
    assert found[code].field == field and found[code].mend


# -- from end to end --------------------------------------------------------------------------------


def test_sixty_frames_from_two_pictures_and_eight_lines(frames: Callable[..., list[list[np.ndarray]]]) -> None:
    """The van is off the panel at both ends, so first and last frame are the backdrop to the bit; between them its
    light's middle moves on evenly (arithmetic: 2 x 48 px in 59 steps)."""
    text = "[motion]\nfps = 12\n" + GLIDE + "frames = 60\n"
    assert len((HEAD + text).splitlines()) <= 10
    dark = Image.new("RGB", SIZE, (12, 12, 12))
    played, hold = frames(text, lake=dark)
    assert len(played) == 60
    assert equal(played[0], dark) and equal(played[-1], dark) and equal(hold[0], dark)
    middles = {}
    for number, made in enumerate(played):
        red = made[..., 0].astype(float) - 12
        if red[:, 0].max() == 0 and red[:, -1].max() == 0 and red.max() > 0:
            middles[number] = float((red * (np.arange(48) + 0.5)).sum() / red.sum())
    assert len(middles) > 5
    for number, middle in middles.items():
        assert middle == pytest.approx(-24 + 96 * number / 59, abs=0.3)


def test_a_glide_over_the_background_without_a_backdrop(frames: Callable[..., list[list[np.ndarray]]]) -> None:
    glide = 'text = "OK"\npath = [[0.5, 0.5]]\nframes = 4\nfade = [0.5, 0]\n'
    played, _ = frames(f'background = "#203040"\n[[part]]\n[part.glide]\n{glide}')
    assert (played[0] == (0x20, 0x30, 0x40)).all()
    assert played[-1].max() > 150
    assert np.mean(played[1]) < np.mean(played[3])


def test_the_same_drop_gives_the_same_bytes_here_and_in_workers(
    folder: Callable[..., Path], bench: Bench, rules: Rulebook, tmp_path: Path
) -> None:
    text = GLIDE + "frames = 12\nturn = [0, 40]\nsize = [0.2, 0.5]\nbend = true\n"
    text = text.replace("[1.5, 0.5]]", "[0.6, 0.2], [1.5, 0.5]]")
    drop = folder(text)
    crew = LocalCrew(2, rules.intake.workers)
    try:
        there = Bench(rules, crew, lambda: datetime(2026, 3, 1, tzinfo=UTC))
        made = [make_by_hand.make(drop, tmp_path / f"out{n}", b) for n, b in enumerate((bench, bench, there))]
    finally:
        crew.close()
    zips = [(m.folder / "usb" / "bootanimation.zip").read_bytes() for m in made if m.folder]
    assert len(zips) == 3 and len(set(zips)) == 1


def test_the_ferry_crosses_an_empty_lake_without_a_flash(bench: Bench, tmp_path: Path) -> None:
    """The sample drop on its own radio: WCAG 2.2, 2.3.1, allows three flashes a second; calm motion has none."""
    made = make_by_hand.make(SAMPLE, tmp_path / "out", bench)
    (radio,) = made.made.record.radios
    assert (radio.flash.general_max_per_s, radio.flash.red_max_per_s) == (0, 0)
    assert radio.parts[0].frames == 60
    assert not [r for r in radio.reasons if r.kind is Kind.REFUSE]
    assert made.folder
    played, hold = unpacked(made.folder)
    with Image.open(SAMPLE / "lake.png") as lake:
        assert equal(played[0], lake) and equal(played[-1], lake) and equal(hold[0], lake)
    assert sum(not equal(frame, played[0]) for frame in played) > 50
