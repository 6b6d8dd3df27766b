"""Calibration: a stick that counts, and what the shop learns from filmed starts."""

from __future__ import annotations

import io
import itertools
import math
import zipfile
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from keyturn import calibrate
from keyturn.calibrate.figures import AMBER, GROUND, INK, QUIET, Count, CountPictures, figure, frame_of
from keyturn.calibrate.profile import KEPT
from keyturn.radio import desc, memory
from keyturn.radio.boot import BootModel
from keyturn.radio.timeline import Pacing, PlayedPart, Timeline
from keyturn.renumber import planned_parts
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import ShopFault
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.wrong_use import WrongUse

RADIOS = rulebook.load().radios
ADDITIVE, FIXED = RADIOS["tall-768x1024"], RADIOS["wide-1280x720"]
DAY = date(2026, 3, 1)


@pytest.fixture
def tiny(rules: Rulebook) -> Radio:
    return rules.radios["tiny"]


def changed(radio: Radio, table: str, **values: object) -> Radio:
    return radio.model_copy(update={table: getattr(radio, table).model_copy(update=values)})


# -- the stick --------------------------------------------------------------------------------------


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
    assert memory.peak_mib(parts, tiny.panel.size, bytes_per_px=4, power_of_two=True) == one


def test_every_frame_is_the_picture_of_its_number_and_no_two_are_alike(stick: zipfile.ZipFile, tiny: Radio) -> None:
    drawn = CountPictures(Count(tiny.title, tiny.panel.size, 10, 25))
    frames = pictures(stick, "part0")
    for number, frame in enumerate(frames, 1):
        assert frame.tobytes() == drawn.figure(number).tobytes()
    assert len({frame.tobytes() for frame in frames}) == 25


def test_the_logo_bears_no_figure_so_that_the_first_one_is_seen_to_come(
    stick: zipfile.ZipFile, tiny: Radio, tmp_path: Path
) -> None:
    with Image.open(tmp_path / "stick" / tiny.stick.logo) as logo:
        assert logo.size == tiny.panel.size
        assert logo.tobytes() not in {p.tobytes() for p in pictures(stick, "part0") + pictures(stick, "part1")}


def test_the_figures_read_back() -> None:
    """By template: both digits of a frame number against the ten digits as frames 1 to 10 show them."""
    drawn = CountPictures(Count("T", (180, 240), 10, 99))
    pitch = 90 + left_edge(ink(drawn, 88)[:, 90:]) - left_edge(ink(drawn, 88))
    digits = {number % 10: ink(drawn, number)[:, 90 : 90 + pitch] for number in range(1, 11)}
    for number in (12, 37, 40, 58, 69, 93):
        seen = ink(drawn, number)
        read = likest(seen[:, 90 - pitch : 90], digits), likest(seen[:, 90 : 90 + pitch], digits)
        assert read == divmod(number, 10)


def ink(drawn: CountPictures, number: int) -> NDArray[np.bool_]:
    """Where the frame number's row has ink."""
    return np.asarray(drawn.figure(number).convert("L"))[int(0.70 * 240) : int(0.87 * 240)] > 90


def left_edge(seen: NDArray[np.bool_]) -> int:
    return int(np.flatnonzero(seen.any(axis=0))[0])


def likest(seen: NDArray[np.bool_], shapes: dict[int, NDArray[np.bool_]]) -> int:
    return min(shapes, key=lambda digit: int((seen ^ shapes[digit]).sum()))


@pytest.mark.parametrize("radio", RADIOS.values(), ids=RADIOS)
def test_figures_are_large_and_stand_out(radio: Radio) -> None:
    """ISO 15008 wants characters of 20 minutes of arc for the driver (from memory); WCAG 2.2, 1.4.6, a contrast
    of 7 to 1 for text, 1.4.3 of 3 to 1 for large text."""
    drawn = CountPictures(Count(radio.title, radio.panel.size, 10, 400))
    moved = np.asarray(drawn.figure(288)) != np.asarray(drawn.figure(111))
    rows = np.flatnonzero(moved[: int(0.9 * radio.panel.height)].any(axis=(1, 2)))
    heights = [group[-1] - group[0] + 1 for group in np.split(rows, np.flatnonzero(np.diff(rows) > 3) + 1)]
    px_mm = radio.panel.width_mm / radio.panel.width
    assert len(heights) == 2  # seconds above, frame below
    for height in heights:
        assert height * px_mm > radio.panel.view_mm * math.tan(math.radians(20 / 60))
    assert contrast(INK, GROUND) >= 7
    assert min(contrast(QUIET, GROUND), contrast(AMBER, GROUND)) >= 3


def contrast(light: tuple[int, int, int], dark: tuple[int, int, int]) -> float:
    """WCAG 2.2, 'contrast ratio' and 'relative luminance'."""

    def luminance(colour: tuple[int, int, int]) -> float:
        r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in (c / 255 for c in colour))
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    return (luminance(light) + 0.05) / (luminance(dark) + 0.05)


@pytest.mark.parametrize("radio", RADIOS.values(), ids=RADIOS)
def test_what_changes_between_frames_is_too_small_to_flash(radio: Radio) -> None:
    """WCAG 2.2, 2.3.1: at most a quarter of a 10-degree field may flash. Here no more than that even changes."""
    field = 2 * radio.panel.view_mm * math.tan(math.radians(5)) * radio.panel.width / radio.panel.width_mm
    drawn = CountPictures(Count(radio.title, radio.panel.size, 10, 400))
    shown = [np.asarray(drawn.figure(number)).astype(int) for number in (98, 99, 100, 188, 189)]
    for one, other in itertools.pairwise(shown):
        assert (np.abs(one - other).max(axis=-1) > 8).sum() < 0.25 * field * 0.75 * field


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
    calibrate.make_stick(known, tmp_path / "stick", fps=fps, rules=rules)
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
    calibrate.make_stick(changed(tiny, "stick", extra_files=True), tmp_path / "told", seconds=0.3, rules=rules)
    text = " ".join((tmp_path / "told" / "INSTALL.txt").read_text(encoding="ascii").split())
    for caution in rules.safety.cautions.card:
        assert caution in text
    assert "A second person films" in text and "parked" in text


# -- reading ----------------------------------------------------------------------------------------


@given(st.integers(1, 60), st.integers(1, 36_000))
@settings(deadline=None)
def test_a_figure_is_read_back_to_its_frame(fps: int, number: int) -> None:
    assert frame_of(float(figure(number, fps)), fps) == number


def test_readings_are_plain_numbers() -> None:
    assert calibrate.read(["17.9", "18", "0.1"]) == (17.9, 18.0, 0.1)
    with pytest.raises(WrongUse) as caught:
        calibrate.read(["17.9", "18,4", "soon", "-3", "nan", "0", "601", "1e2"], "--filmed")
    for wrong in ("--filmed", "'18,4'", "'soon'", "'-3'", "'nan'", "'0'", "'601'", "'1e2'", "18.4"):
        assert wrong in str(caught.value)
    assert "17.9" not in caught.value.what


@pytest.mark.parametrize(
    ("typed", "understood"),
    [
        ("calibrate r --read 17.9 18.4 --filmed 22 23", "calibrate r --read 17.9 --read 18.4 --filmed 22 --filmed 23"),
        ("calibrate --read 17.9 18,4 r --fps 10", "calibrate --read 17.9 --read 18,4 r --fps 10"),
        ("calibrate r --fps 10 20", "calibrate r --fps 10 20"),
        ("make drop --out here", "make drop --out here"),
    ],
)
def test_several_readings_may_follow_one_option(typed: str, understood: str) -> None:
    assert calibrate.spread_values(typed.split()) == understood.split()


def test_a_figure_the_stick_does_not_show_is_refused() -> None:
    with pytest.raises(WrongUse, match=r"no stick of 10 fps shows 17\.93"):
        calibrate.learn(ADDITIVE, 10, [17.9, 17.93], None)


# -- learning ---------------------------------------------------------------------------------------

STARTS = st.lists(st.tuples(st.integers(100, 400), st.floats(-0.08, 0.08)), min_size=2, max_size=20)


@given(STARTS, st.floats(0.1, 0.3))
@settings(deadline=None)
def test_the_interval_is_the_least_squares_slope_of_numpy(starts: list[tuple[int, float]], true_s: float) -> None:
    frames = np.array([n for n, _ in starts], float)
    filmed = frames * true_s + np.array([e for _, e in starts])
    interval = calibrate.learn(ADDITIVE, 10, [n / 10 for n, _ in starts], filmed.tolist()).interval
    assert interval is not None
    (slope,), residual, _, _ = np.linalg.lstsq(frames[:, None], filmed, rcond=None)
    assert interval.seconds == pytest.approx(slope, rel=1e-9)
    variance = float(residual.sum()) / (len(frames) - 1)
    assert interval.scatter_s == pytest.approx(math.sqrt(variance), rel=1e-6, abs=1e-9)
    if interval.scatter_s > 1 / 30:  # ordinary least squares: variance x (A'A)^-1; a film shows no more than 1/30 s
        assert interval.error_s == pytest.approx(math.sqrt(variance * np.linalg.inv([[frames @ frames]])[0, 0]))


@given(
    st.sampled_from([ADDITIVE, FIXED]),
    st.integers(2, 30),
    st.integers(1, 300),
    st.lists(st.floats(8, 30), min_size=1, max_size=5),
)
@settings(deadline=None, max_examples=60)
def test_what_a_radio_does_is_found_from_its_film(radio: Radio, fps: int, cost_ms: int, boots: list[float]) -> None:
    """The radio is played by `radio.timeline`: its true cost is unknown to the profile, and recovered."""
    true = Pacing(fps, radio.firmware.pacing, cost_ms / 1000)
    shows = [Timeline((PlayedPart("p", 1, 0, 2000), PlayedPart("p", 0, 0, 1)), true, boot) for boot in boots]
    last = [max(s.frame for s in show.shown() if s.part == 0) + 1 for show in shows]
    learnt = calibrate.learn(radio, fps, [float(figure(n, fps)) for n in last], [show.end_s for show in shows])
    assert learnt.boot_s == pytest.approx([show.end_s for show in shows], abs=1e-3)
    rounding = 0.5e-3  # boots are kept in whole milliseconds
    late = [seen - boot for seen, boot in zip(learnt.boot_s, boots, strict=True)]
    assert all(-rounding <= by <= true.interval_s + rounding for by in late)
    assert learnt.interval is not None
    assert learnt.interval.seconds == pytest.approx(true.interval_s, abs=1e-6)
    assert learnt.interval.scatter_s < 1e-3
    stored = with_cost(radio, learnt.cost_ms)
    assert planned_parts.pacing(stored, fps).interval_s == pytest.approx(
        true.interval_s, abs=4 * learnt.interval.error_s
    )
    if radio is ADDITIVE:
        assert learnt.cost_ms == pytest.approx(cost_ms, abs=0.01)


def with_cost(radio: Radio, cost_ms: float | None) -> Radio:
    if cost_ms is None:
        return radio
    return changed(radio, "limits", decode_ms_per_mpx=0.0, draw_ms=cost_ms)


def test_a_beat_that_is_kept_tells_no_cost_but_bounds_it() -> None:
    filmed = [18.0, 18.5]
    assert calibrate.learn(FIXED, 10, filmed, filmed).cost_ms is None
    slow = changed(FIXED, "limits", draw_ms=300.0)
    assert calibrate.learn(slow, 10, filmed, filmed).cost_ms == 100.0
    told = " ".join(calibrate.describe(calibrate.learn(FIXED, 10, filmed, filmed)))
    assert "beat of 10 fps is kept" in told


def test_without_a_film_boots_are_frames_times_the_profile_s_interval() -> None:
    learnt = calibrate.learn(ADDITIVE, 10, [17.9, 18.4], None)
    each = 1 / 10 + (18 * 768 * 1024 / 1e6 + 4) / 1000  # the profile's own figures: additive
    assert learnt.boot_s == pytest.approx([179 * each, 184 * each], abs=1e-3)
    assert (learnt.interval, learnt.cost_ms) == (None, None)
    assert "assumed, not measured" in " ".join(calibrate.describe(learnt))


@pytest.mark.parametrize(
    ("shown", "filmed", "told"),
    [
        ([17.9, 18.4], [17.0, 23.0], "179 frames in 17 s"),
        ([17.9, 18.4], [22.0], "2 figures were read and 1 starts filmed"),
        ([17.9], [400.0], "would take"),
        ([0.1], [0.02], "less than 0.1 s"),
    ],
)
def test_a_film_that_cannot_be_is_refused(shown: list[float], filmed: list[float], told: str) -> None:
    with pytest.raises(WrongUse, match=told):
        calibrate.learn(ADDITIVE, 10, shown, filmed)


def test_the_report_tells_every_start_and_warns_of_a_single_one() -> None:
    told = "\n".join(calibrate.describe(calibrate.learn(ADDITIVE, 10, [17.9, 18.4], [22.6, 23.25])))
    assert "figure 17.9 (frame 179): home screen after 22.60 s" in told
    assert "126.3 ms" in told and "second --fps" in told and "One start" not in told
    assert "One start" in "\n".join(calibrate.describe(calibrate.learn(ADDITIVE, 10, [17.9], [22.6])))


def test_a_second_rate_that_contradicts_the_first_names_the_other_pacing(tmp_path: Path) -> None:
    """A player of fixed beat that needs 120 ms a frame misses 10 fps and keeps 5 fps."""
    true = {fps: Pacing(fps, "fixed-beat", 0.12).interval_s for fps in (5, 10)}
    at_10 = calibrate.learn(ADDITIVE, 10, [15.0, 15.2], [150 * true[10], 152 * true[10]])
    calibrate.store(tmp_path, ADDITIVE, at_10, on=DAY)
    radio = rulebook.load(tmp_path).radios[ADDITIVE.name]
    told = " ".join(calibrate.describe(calibrate.learn(radio, 5, [18.0], [90 * true[5]])))
    assert 'pacing is "fixed-beat"' in told
    agreed = calibrate.learn(radio, 5, [15.0], [75 * (0.2 + 0.02)])
    assert 'agrees with what was measured before: pacing "additive"' in " ".join(calibrate.describe(agreed))


# -- keeping ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("radio", RADIOS.values(), ids=RADIOS)
def test_what_was_learnt_comes_back_from_the_rulebook(radio: Radio, tmp_path: Path) -> None:
    learnt = calibrate.learn(radio, 10, [12.0, 12.5], [16.0, 16.7])
    stored = calibrate.store(tmp_path, radio, learnt, on=DAY)
    assert stored.path == tmp_path / "radios" / f"{radio.name}.toml"
    assert (stored.kept, stored.added, stored.dropped) == (0, 2, 0)
    loaded = rulebook.load(tmp_path).radios[radio.name]
    assert BootModel.of_radio(loaded).spread == pytest.approx((16.0, 16.35, 16.7))
    assert learnt.interval is not None
    assert planned_parts.pacing(loaded, 10).interval_s == pytest.approx(learnt.interval.seconds, abs=1e-6)
    assert loaded.boot.source.startswith("measured in this shop on 2026-03-01, 2 starts")
    assert radio.boot.source in loaded.boot.source  # where the three figures come from is still told
    assert without(loaded) == without(radio)


def without(radio: Radio) -> object:
    """Everything that calibration leaves alone."""
    kept = radio.model_dump()
    for table, keys in {"boot": ("source", "samples"), "limits": ("source", "decode_ms_per_mpx", "draw_ms")}.items():
        for key in keys:
            del kept[table][key]
    return kept


def test_a_radio_that_no_file_holds_is_written_out_whole(tmp_path: Path) -> None:
    radio = changed(ADDITIVE, "panel", width=48, source='a "quoted" \\ source\nof two lines').model_copy(
        update={"name": "ours"}
    )
    learnt = calibrate.learn(radio, 10, [12.0], None)
    calibrate.store(tmp_path, radio, learnt, on=DAY)
    loaded = rulebook.load(tmp_path).radios["ours"]
    assert without(loaded) == without(radio)
    assert loaded.limits == radio.limits  # nothing was filmed, so nothing is known better


def test_the_shop_s_own_profile_keeps_its_values_its_remarks_and_its_starts(shop: Shop, tiny: Radio) -> None:
    path = shop.rules / "radios" / "tiny.toml"
    text = path.read_text(encoding="utf-8").replace("fps_max = 30", "fps_max = 12   # flickers above")
    path.write_text(text.replace("longest = 21", "longest = 21\nsamples = [15.5,\n  16.5]  # by stop-watch"))
    learnt = calibrate.learn(tiny, 10, [12.0], [16.0])
    stored = calibrate.store(shop.rules, tiny, learnt, on=DAY)
    loaded = rulebook.load(shop.rules).radios["tiny"]
    assert (stored.kept, stored.added) == (2, 1)
    assert (loaded.limits.fps_max, loaded.boot.samples) == (12, (15.5, 16.5, 16.0))
    written = path.read_text(encoding="utf-8")
    assert "# flickers above" in written and "# by stop-watch" in written
    assert [p.name for p in path.parent.iterdir()] == ["tiny.toml"]


def test_a_profile_of_inline_tables_is_kept_as_it_is_written(tmp_path: Path) -> None:
    text = (rulebook.SHIPPED / "radios" / f"{ADDITIVE.name}.toml").read_text(encoding="utf-8")
    start, end = text.index("[boot]"), text.index("[logo]")
    text = text[:start] + text[end:]
    inline = 'boot = {source = "by hand", shortest = 10, usual = 12, longest = 13}\n'
    (tmp_path / "radios").mkdir()
    (tmp_path / "radios" / f"{ADDITIVE.name}.toml").write_text(inline + text, encoding="utf-8")
    learnt = calibrate.learn(ADDITIVE, 10, [10.0], [13.0])
    calibrate.store(tmp_path, ADDITIVE, learnt, on=DAY)
    boot = rulebook.load(tmp_path).radios[ADDITIVE.name].boot
    assert (boot.shortest, boot.longest, boot.samples) == (10, 13, (13.0,))


def test_calibrating_again_does_not_pile_up_sources(shop: Shop, tiny: Radio) -> None:
    for day in (1, 2, 3):
        learnt = calibrate.learn(tiny, 10, [12.0], [16.0])
        calibrate.store(shop.rules, tiny, learnt, on=date(2026, 3, day))
    loaded = rulebook.load(shop.rules).radios["tiny"]
    for source in (loaded.boot.source, loaded.limits.source):
        assert source.count("measured in this shop") == 1 and "2026-03-03" in source
    assert tiny.limits.source in loaded.limits.source and tiny.boot.source in loaded.boot.source


def test_only_the_last_starts_are_kept(shop: Shop, tiny: Radio) -> None:
    first = calibrate.learn(tiny, 10, [n / 10 for n in range(100, 100 + KEPT - 1)], None)
    calibrate.store(shop.rules, tiny, first, on=DAY)
    second = calibrate.learn(tiny, 10, [20.0, 20.1, 20.2], None)
    stored = calibrate.store(shop.rules, tiny, second, on=DAY)
    assert (stored.kept, stored.added, stored.dropped) == (KEPT - 3, 3, 2)
    samples = rulebook.load(shop.rules).radios["tiny"].boot.samples
    assert samples == (*first.boot_s[2:], *second.boot_s)


def test_a_broken_profile_is_not_replaced(shop: Shop, tiny: Radio) -> None:
    path = shop.rules / "radios" / "tiny.toml"
    path.write_text("title = half a li", encoding="utf-8")
    with pytest.raises(ShopFault, match=r"tiny\.toml"):
        calibrate.store(shop.rules, tiny, calibrate.learn(tiny, 10, [12.0], None), on=DAY)
    assert path.read_text(encoding="utf-8") == "title = half a li"
