"""The calibration stick: what the radio reads from it, and when none is made."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from PIL import Image

from calibration_samples import RADIOS, changed
from keyturn import calibrate
from keyturn.calibrate.figures import Count, CountPictures
from keyturn.calibrate.stick_plan import StickPlan
from keyturn.radio import desc, memory
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.radio_profile import Radio
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.wrong_use import WrongUse
from samples import with_tables


@pytest.fixture
def stick(tiny: Radio, rules: Rulebook, tmp_path: Path) -> zipfile.ZipFile:
    """A count of 25 frames at 10 fps."""
    calibrate.make_stick(tiny, tmp_path / "stick", fps=10, seconds=2.45, rules=rules)
    return zipfile.ZipFile(tmp_path / "stick" / "bootanimation.zip")


def pictures(stick: zipfile.ZipFile, part: str) -> list[Image.Image]:
    names = sorted(name for name in stick.namelist() if name.startswith(f"{part}/"))
    return [Image.open(io.BytesIO(stick.read(name))) for name in names]


def test_the_radio_reads_a_count_that_plays_once_and_a_hold_that_never_ends(stick: zipfile.ZipFile) -> None:
    """Rows: Android Open Source Project, cmds/bootanimation, TYPE COUNT PAUSE PATH; count 0 is until booted."""
    assert stick.read("desc.txt") == b"48 64 10\np 1 0 part0\np 0 0 part1\n"
    assert desc.parse(stick.read("desc.txt")).faults == ()
    assert stick.testzip() is None
    assert {entry.compress_type for entry in stick.infolist()} == {zipfile.ZIP_STORED}
    frames, hold = pictures(stick, "part0"), pictures(stick, "part1")
    assert (len(frames), len(hold)) == (25, 1)
    assert {(p.format, p.mode, p.size) for p in frames + hold} == {("PNG", "RGB", (48, 64))}


def test_it_holds_one_texture_however_long_it_counts(stick: zipfile.ZipFile, tiny: Radio) -> None:
    """Android Open Source Project, cmds/bootanimation: a part of count 1 reuses one texture."""
    read = desc.parse(stick.read("desc.txt")).desc
    assert read is not None
    parts = [PlayedPart(row.type, row.count, row.pause, len(pictures(stick, row.path))) for row in read.rows]
    one = 64 * 64 * 4 / 2**20  # 48 rounded up to a power of two
    assert memory.peak_mib(parts, tiny.panel.size, tiny) <= 2 * one


def test_a_stick_to_be_filmed_plays_a_detailed_part_twice(tiny: Radio, rules: Rulebook, tmp_path: Path) -> None:
    calibrate.make_stick(tiny, tmp_path / "stick", fps=5, seconds=4, rules=rules)
    stick = zipfile.ZipFile(tmp_path / "stick" / "bootanimation.zip")
    assert stick.read("desc.txt") == b"48 64 5\np 1 0 part0\np 2 1 part1\np 1 0 part2\np 0 0 part3\n"
    assert [len(pictures(stick, f"part{n}")) for n in range(4)] == [10, 5, 5, 1]
    drawn = CountPictures(Count(tiny.title, tiny.panel.size, 5, 20))
    shown = [frame for n in range(3) for frame in pictures(stick, f"part{n}")]
    assert [frame.tobytes() for frame in shown] == [drawn.figure(number).tobytes() for number in range(1, 21)]


@pytest.mark.parametrize("radio", RADIOS.values(), ids=RADIOS)
def test_the_detailed_part_fits_every_shipped_radio(radio: Radio) -> None:
    plan = StickPlan.of(radio.limits.fps_max, 300)
    detailed = [PlayedPart("p", part.plays, part.pause, part.frames) for part in plan.parts[1:2]]
    assert memory.peak_mib(detailed, radio.panel.size, radio) <= radio.limits.texture_mib


def test_every_frame_is_the_picture_of_its_number_and_no_two_are_alike(stick: zipfile.ZipFile, tiny: Radio) -> None:
    drawn = CountPictures(Count(tiny.title, tiny.panel.size, 10, 25))
    frames = pictures(stick, "part0")
    for number, frame in enumerate(frames, 1):
        assert frame.tobytes() == drawn.figure(number).tobytes()
    assert len({frame.tobytes() for frame in frames}) == 25


def test_the_logo_has_no_figure_so_that_the_film_shows_the_first_one_appear(
    stick: zipfile.ZipFile, tiny: Radio, tmp_path: Path
) -> None:
    with Image.open(tmp_path / "stick" / tiny.stick.logo) as logo:
        assert logo.size == tiny.panel.size
        assert logo.tobytes() not in {p.tobytes() for p in pictures(stick, "part0") + pictures(stick, "part1")}


def test_a_radio_whose_logo_is_bmp_gets_one(tiny: Radio, rules: Rulebook, tmp_path: Path) -> None:
    radio = with_tables(tiny, logo={"formats": ["bmp"], "bmp_bits": 16}, stick={"logo": "logo.bmp"})
    calibrate.make_stick(radio, tmp_path / "bmp", fps=2, seconds=1, rules=rules)
    with Image.open(tmp_path / "bmp" / "logo.bmp") as logo:
        assert (logo.format, logo.size) == ("BMP", tiny.panel.size)


def test_a_stick_that_would_flash_is_not_made(tiny: Radio, rules: Rulebook, tmp_path: Path) -> None:
    flash = rules.safety.flash.model_copy(update={"field_share": 0.0005, "field_deg": 2.0})
    strict = rules.model_copy(update={"safety": rules.safety.model_copy(update={"flash": flash})})
    near = changed(tiny, "panel", width=240, height=320, width_mm=1900.0)
    with pytest.raises(WrongUse, match="would flash"):
        calibrate.make_stick(near, tmp_path / "stick", fps=30, seconds=2, rules=strict)
    assert not list(tmp_path.glob("*stick*")) and not list(tmp_path.glob(".building*"))
    calibrate.make_stick(near, tmp_path / "stick", fps=2, seconds=2, rules=strict)


@pytest.mark.parametrize("fps", [7, 10, 25])
def test_the_count_outlasts_the_longest_boot_by_half(fps: int, tiny: Radio, rules: Rulebook, tmp_path: Path) -> None:
    known = changed(tiny, "boot", longest=2.0, usual=1.5, shortest=1.0, samples=(1.2, 2.5))
    calibrate.make_stick(known, tmp_path / "stick", fps=fps, by_eye=True, rules=rules)
    with zipfile.ZipFile(tmp_path / "stick" / "bootanimation.zip") as stick:
        frames = sum(name.startswith("part0/") for name in stick.namelist())
    assert frames / fps >= 1.5 * 2.5 > (frames - 1) / fps


@pytest.mark.parametrize(
    ("fps", "seconds", "zip_mib", "told"),
    [(31, 2, 60, "1 to 30 fps"), (10, 0, 60, "0 frames"), (10, 1e6, 60, "10000000 frames"), (10, 2, 0.001, "MiB")],
)
def test_a_stick_that_cannot_be_made_says_why(
    fps: int, seconds: float, zip_mib: float, told: str, tiny: Radio, rules: Rulebook, tmp_path: Path
) -> None:
    radio = changed(tiny, "limits", zip_mib=zip_mib)
    with pytest.raises(WrongUse, match=told):
        calibrate.make_stick(radio, tmp_path / "stick", fps=fps, seconds=seconds, rules=rules)
    assert not (tmp_path / "stick").exists()


def test_nothing_is_overwritten(tiny: Radio, rules: Rulebook, tmp_path: Path) -> None:
    (tmp_path / "stick").mkdir()
    calibrate.make_stick(tiny, tmp_path / "stick", seconds=0.3, rules=rules)
    with pytest.raises(WrongUse, match="not an empty folder"):
        calibrate.make_stick(tiny, tmp_path / "stick", seconds=0.3, rules=rules)


def test_the_stick_says_what_to_do_where_the_radio_does_not_mind(tiny: Radio, rules: Rulebook, tmp_path: Path) -> None:
    made = calibrate.make_stick(tiny, tmp_path / "bare", seconds=0.3, rules=rules)
    assert {f.path for f in made} == {p.name for p in (tmp_path / "bare").iterdir()}
    for by_eye, how in ((False, "--film start1.mp4"), (True, "--read 17.9")):
        told = changed(tiny, "stick", extra_files=True)
        calibrate.make_stick(told, tmp_path / f"told-{by_eye}", seconds=0.3, by_eye=by_eye, rules=rules)
        text = " ".join((tmp_path / f"told-{by_eye}" / "INSTALL.txt").read_text(encoding="ascii").split())
        for caution in (*rules.safety.cautions.card, how, "A second person films", "parked"):
            assert caution in text
