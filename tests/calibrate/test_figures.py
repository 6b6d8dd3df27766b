"""The pictures of a count: figures that can be read back, stand out and cannot flash."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from calibration_samples import RADIOS
from keyturn.calibrate.code_layout import STRIP_STEPS, CodeLayout
from keyturn.calibrate.figures import AMBER, GROUND, INK, QUIET, Count, CountPictures, figure, frame_of
from keyturn.png import png_writer
from keyturn.shop.radio_profile import Radio


def test_the_figures_read_back() -> None:
    """Each digit of a frame number is compared with the ten digits that frames 1 to 10 show."""
    drawn = CountPictures(Count("T", (180, 240), 10, 99))
    pitch = 90 + left_edge(ink(drawn, 88)[:, 90:]) - left_edge(ink(drawn, 88))
    digits = {number % 10: ink(drawn, number)[:, 90 : 90 + pitch] for number in range(1, 11)}
    for number in (12, 37, 40, 58, 69, 93):
        seen = ink(drawn, number)
        read = likest(seen[:, 90 - pitch : 90], digits), likest(seen[:, 90 : 90 + pitch], digits)
        assert read == divmod(number, 10)


def ink(drawn: CountPictures, number: int) -> NDArray[np.bool_]:
    """Return where the row of the frame number has ink."""
    left, right = (round(x) for x in drawn.layout.inside)
    seen = np.asarray(drawn.figure(number).convert("L"))[int(0.597 * 240) : int(0.69 * 240)] > 90
    seen[:, :left] = seen[:, right:] = False
    return seen


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
    between = slice(int(0.3 * radio.panel.height), int(0.69 * radio.panel.height))  # the code above and below
    rows = np.flatnonzero(moved[between].any(axis=(1, 2)))
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
    """WCAG 2.2, 2.3.1: at most a quarter of a 10-degree field may flash. Less than that gets lighter, or darker, at any
    frame: a flash is a pair of opposing changes."""
    field = 2 * radio.panel.view_mm * math.tan(math.radians(5)) * radio.panel.width / radio.panel.width_mm
    drawn = CountPictures(Count(radio.title, radio.panel.size, 10, 400))
    for number in (98, 99, 127, 188):
        one, other = (np.asarray(drawn.figure(n).convert("L")).astype(int) for n in (number, number + 1))
        for changed in (other - one > 8, one - other > 8):
            assert most_in_a_box(changed, round(0.75 * field), round(field)) < 0.25 * field * 0.75 * field


def most_in_a_box(marked: NDArray[np.bool_], tall: int, wide: int) -> int:
    """Return the most marked pixels in any box of this size."""
    sums = np.pad(marked.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    tall, wide = min(tall, marked.shape[0]), min(wide, marked.shape[1])
    return int((sums[tall:, wide:] - sums[:-tall, wide:] - sums[tall:, :-wide] + sums[:-tall, :-wide]).max())


def test_only_the_detailed_part_is_hard_to_pack() -> None:
    """A photograph of this size takes 2 to 5 bits a colour sample as PNG (common practice, no source)."""
    drawn = CountPictures(Count("T", (180, 240), 10, 99))
    plain, detailed = (len(png_writer.png(drawn.figure(number))) for number in (15, 25))
    assert drawn.plan.part_of(25) is not drawn.plan.part_of(15)
    assert detailed > 4 * plain and 2 / 8 < detailed / (180 * 240 * 3) < 5 / 8


@pytest.mark.parametrize("radio", RADIOS.values(), ids=RADIOS)
def test_a_16_bit_panel_shows_all_but_the_fine_steps(radio: Radio) -> None:
    """RGB565 keeps the highest 5, 6 and 5 bits (as Linux's DRM_FORMAT_RGB565); the eye's own measure is in `eye`."""
    layout = CodeLayout(radio.panel.size)
    picture = np.asarray(CountPictures(Count("T", radio.panel.size, 10, 99)).figure(7))
    kept = picture & np.array([0xF8, 0xFC, 0xF8], np.uint8)
    colours = {}
    for step, (left, top, right, foot) in zip(STRIP_STEPS, layout.strip, strict=True):
        y, x = round((top + foot) / 2), round((left + right) / 2)
        colours.setdefault(step, set()).add((tuple(picture[y, x].tolist()), tuple(kept[y, x].tolist())))
    assert all(len(seen) == 1 for seen in colours.values())
    (full_a, kept_a), (full_f, kept_f), (_, kept_s) = (colours[step].copy().pop() for step in "AFS")
    assert full_a != full_f and kept_a == kept_f != kept_s


@given(st.integers(1, 60), st.integers(1, 36_000))
@settings(deadline=None)
def test_a_figure_is_read_back_to_its_frame(fps: int, number: int) -> None:
    assert frame_of(float(figure(number, fps)), fps) == number
