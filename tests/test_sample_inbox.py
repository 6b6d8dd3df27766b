"""The sample inbox: the demo's drops can be drawn again, and they are what their stories say."""

from __future__ import annotations

import csv
import io
import re
import subprocess
import sys
import tomllib
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageOps

SAMPLES = Path(__file__).parents[1] / "sample_inbox"
DROPS = [
    *("bakery-steam", "fern-unfurls", "ferry-glide", "ferry-steps", "garden-gate", "lamp-by-lamp", "second-van"),
    "six-vans",
]


def _draw(out: Path, *drops: str) -> None:
    # -B: drawing leaves nothing behind in the sample inbox itself
    subprocess.run([sys.executable, "-B", str(SAMPLES / "draw.py"), "--out", str(out), *drops], check=True)


def _bytes(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def _pictures(drop: str, pattern: str) -> list[Path]:
    found = sorted((SAMPLES / drop).glob(pattern))
    assert found, f"{drop}/{pattern} matches nothing"
    return found


def _rgb(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"))


def _chunk_types(data: bytes) -> Iterator[bytes]:
    """W3C PNG, third edition, 5.3: length, type, data, CRC, one chunk after the other."""
    at = 8
    while at < len(data):
        length = int.from_bytes(data[at : at + 4])
        yield data[at + 4 : at + 8]
        at += 12 + length


@pytest.fixture(scope="module")
def drawn_again(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    first, second = tmp_path_factory.mktemp("first"), tmp_path_factory.mktemp("second")
    for out in (first, second):
        _draw(out, "bakery-steam", "ferry-steps")
    return first, second


@pytest.mark.slow
@pytest.mark.parametrize("drop", ["bakery-steam", "ferry-steps"])
def test_drawing_a_drop_again_gives_the_same_bytes(drawn_again: tuple[Path, Path], drop: str) -> None:
    first, second = drawn_again
    assert _bytes(first / drop) == _bytes(second / drop)


@pytest.mark.slow
@pytest.mark.parametrize("drop", ["bakery-steam", "ferry-steps"])
def test_what_lies_in_the_inbox_is_what_the_script_draws(drawn_again: tuple[Path, Path], drop: str) -> None:
    """Compared by eye's measure, not by bytes: another Pillow or zlib packs the same picture otherwise."""
    again = drawn_again[0] / drop
    assert _bytes(SAMPLES / drop).keys() == _bytes(again).keys()
    for path in _pictures(drop, "**/*.[pg][ni][gf]"):
        if path.name != "step 05.png":  # cut short on purpose
            ours, theirs = _rgb(path), _rgb(again / path.relative_to(SAMPLES / drop))
            assert np.abs(ours.astype(int) - theirs).mean() < 1.0, path.name


def test_an_unknown_drop_is_named_and_nothing_is_drawn(tmp_path: Path) -> None:
    command = [sys.executable, "-B", str(SAMPLES / "draw.py"), "--out", str(tmp_path / "out"), "fern-unfurl"]
    ended = subprocess.run(command, capture_output=True, text=True)
    assert ended.returncode == 2
    assert "fern-unfurl" in ended.stderr
    assert not (tmp_path / "out").exists()


def test_every_folder_with_a_manifest_is_a_drop_and_no_other() -> None:
    assert sorted(p.parent.name for p in SAMPLES.glob("*/job.toml")) == DROPS
    for drop in DROPS:
        tomllib.loads((SAMPLES / drop / "job.toml").read_text(encoding="utf-8"))


def test_the_sample_inbox_stays_small() -> None:
    files = [p for p in SAMPLES.rglob("*") if p.is_file() and "__pycache__" not in p.parts]
    assert sum(p.stat().st_size for p in files) < 5_000_000


@pytest.mark.parametrize(
    ("drop", "pattern", "count", "size"),
    [
        ("lamp-by-lamp", "lamps/*.png", 48, (768, 1024)),
        ("lamp-by-lamp", "logo.png", 1, (768, 1024)),
        ("fern-unfurls", "sway/*.png", 24, (1280, 720)),
        ("bakery-steam", "*.gif", 1, (800, 480)),
        ("bakery-steam", "logo.png", 1, (800, 480)),
        ("second-van", "push-in/*.jpg", 18, (1024, 768)),
        ("second-van", "dusk.jpg", 1, (1600, 1200)),
        ("ferry-steps", "steps/*.png", 7, (576, 768)),
        ("ferry-glide", "lake.png", 1, (1280, 720)),
        ("ferry-glide", "ferry.png", 1, (600, 400)),
        ("six-vans", "meadow.png", 1, (1024, 600)),
        ("six-vans", "van.png", 1, (560, 320)),
    ],
)
def test_pictures_have_the_sizes_their_story_needs(drop: str, pattern: str, count: int, size: tuple[int, int]) -> None:
    paths = _pictures(drop, pattern)
    assert len(paths) == count
    for path in paths:
        with Image.open(path) as picture:
            assert picture.size == size, path.name


def test_the_lamps_end_as_they_began_and_the_logo_is_frame_one() -> None:
    first, last, logo = (_rgb(SAMPLES / "lamp-by-lamp" / n) for n in ("lamps/0001.png", "lamps/0048.png", "logo.png"))
    assert np.array_equal(first, last)
    assert np.array_equal(first, logo)


def _relative_luminance(pixels: np.ndarray) -> np.ndarray:
    """W3C WCAG 2.2, definition of relative luminance."""
    share = pixels / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize(("drop", "pattern"), [("lamp-by-lamp", "lamps/*.png"), ("fern-unfurls", "sway/*.png")])
def test_light_comes_and_goes_slowly(drop: str, pattern: str) -> None:
    """From one frame to the next less than a quarter of the picture changes by the 0.10 of a general flash
    (W3C WCAG 2.2, "general flash and red flash thresholds")."""
    small = []
    for path in _pictures(drop, pattern):
        with Image.open(path) as picture:
            small.append(_relative_luminance(np.asarray(picture.convert("RGB").reduce(8))))
    shares = [float((abs(b - a) >= 0.10).mean()) for a, b in zip(small, small[1:] + small[:1], strict=True)]
    assert max(shares) < 0.25


def test_the_fern_s_last_frame_leads_into_the_first() -> None:
    frames = [_rgb(path).astype(int) for path in _pictures("fern-unfurls", "sway/*.png")]
    steps = [float(np.abs(b - a).mean()) for a, b in zip(frames, frames[1:] + frames[:1], strict=True)]
    assert 0 < steps[-1] <= 1.1 * max(steps[:-1])


def test_the_steam_ends_as_it_began() -> None:
    with Image.open(SAMPLES / "bakery-steam" / "steam.gif") as clip:
        first = np.asarray(clip.convert("RGB"))
        clip.seek(clip.n_frames - 1)
        last = np.asarray(clip.convert("RGB"))
    assert np.array_equal(first, last)
    assert np.array_equal(first, _rgb(SAMPLES / "bakery-steam" / "logo.png"))


def test_the_gate_s_pictures_are_as_untidy_as_they_should_be() -> None:
    gate = SAMPLES / "garden-gate"
    numbers = sorted(int(re.fullmatch(r"gate (\d+)", p.stem)[1]) for p in gate.glob("gate *"))  # type: ignore[index]
    assert numbers == [1, 2, 3, 4, 5, 6, 7, 9, 10, 11, 12, 13]
    assert {p.name for p in gate.iterdir()} >= {"Thumbs.db", ".DS_Store", "._gate 1.png"}
    # W3C PNG, third edition, 11.2.1: byte 24 of the file is the bit depth, 25 the colour type, 28 the interlace
    plain, laced, deep, indexed = ((gate / f"gate {n}.png").read_bytes() for n in (1, 2, 5, 6))
    assert (plain[24], plain[25], plain[28]) == (8, 6, 0)
    assert laced[28] == 1
    assert deep[24] == 16
    assert indexed[25] == 3 and b"tRNS" in set(_chunk_types(indexed))
    with Image.open(gate / "gate 4.jpg") as turned, Image.open(gate / "gate 9.jpg") as printed:
        assert turned.getexif()[ExifTags.Base.Orientation] == 6
        assert turned.size == (400, 600) and ImageOps.exif_transpose(turned).size == (600, 400)
        assert printed.mode == "CMYK"
    with Image.open(gate / "gate 6.png") as see_through:
        assert see_through.convert("RGBA").getpixel((0, 0))[3] == 0
        assert see_through.convert("RGBA").getpixel((300, 340))[3] == 255
    with Image.open(gate / "gate 10.png") as big:
        assert big.size == (1200, 800)


def test_the_odd_pngs_show_the_same_gate_as_their_neighbours() -> None:
    """Pillow, as another reader, sees in the interlaced and the 16-bit file what it sees in the plain ones."""
    plain, laced, deep = (_rgb(SAMPLES / "garden-gate" / f"gate {n}.png").astype(int) for n in (1, 2, 5))
    assert np.abs(laced - plain).mean() < 3
    assert np.abs(deep - plain).mean() < 8


def test_the_ferry_s_faults_are_there() -> None:
    steps = SAMPLES / "ferry-steps" / "steps"
    assert (steps / "step 03.png").read_bytes() != (steps / "step 03 (1).png").read_bytes()
    with pytest.raises(OSError), Image.open(steps / "step 05.png") as broken:
        broken.load()


def test_the_six_vans_have_two_radios_and_names_in_three_scripts() -> None:
    """Unicode names each letter's script at the start of the letter's name (UAX 24 has the property itself)."""
    text = (SAMPLES / "six-vans" / "fleet.csv").read_text(encoding="utf-8-sig")
    header, *rows = csv.reader(io.StringIO(text), delimiter=";")
    assert header == ["vehicle", "radio", "greeting"] and len(rows) == 6
    assert len({radio for _, radio, _ in rows}) == 2
    letters = {letter for _, _, greeting in rows for letter in greeting if letter.isalpha()}
    assert {unicodedata.name(letter).split()[0] for letter in letters} == {"LATIN", "GREEK", "CYRILLIC"}
