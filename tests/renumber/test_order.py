"""The order that people mean by their numbers, and what is wrong with the numbers."""

import random
import shutil
import string
import subprocess

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.renumber.order import Order, frame_name, order, part_name
from keyturn.shop.reasons import Kind


def ordered(*names: str, same=None) -> Order:
    return order(names, part="lamps/*", same=same)


def codes(result: Order) -> set[tuple[str, str]]:
    return {(r.code, str(r.kind)) for r in result.reasons}


def gnu_sort(names: list[str], *options: str) -> list[str]:
    done = subprocess.run(
        ["sort", *options], input="\n".join(names), env={"LC_ALL": "C"}, capture_output=True, text=True, check=True
    )
    return done.stdout.splitlines()


def said(result: Order, code: str) -> str:
    return " ".join(r.line() for r in result.reasons if r.code == code)


PLAIN = st.lists(st.integers(0, 3000), min_size=1, max_size=40, unique=True)


# -- order ------------------------------------------------------------------------------------------


@pytest.mark.system
@pytest.mark.parametrize(
    "pattern", ["{}.png", "lamp{}.png", "lamp-{:03d}.png", "v2_frame_{}_final.png", "lamp ({}).png"]
)
def test_plain_numbers_play_as_gnu_sort_orders_versions(pattern: str):
    """GNU coreutils `sort -V` is natural order, made by others."""
    numbers = random.Random(4).sample(range(1200), 90)
    names = [pattern.format(n) for n in numbers]
    assert list(ordered(*names).names) == gnu_sort(names, "-V")


@settings(deadline=None, max_examples=60)
@given(PLAIN, st.sampled_from(["{}.png", "lamp {:04d}.png", "2026-03-01 lamp {}.png", "lamp ({}).jpg"]), st.randoms())
def test_shuffling_changes_nothing(numbers: list[int], pattern: str, rng: random.Random):
    names = [pattern.format(n) for n in sorted(numbers)]
    mixed = names.copy()
    rng.shuffle(mixed)
    assert order(mixed, part="p") == order(names, part="p")
    assert list(order(mixed, part="p").names) == names
    assert not any(r.kind is Kind.REFUSE for r in order(mixed, part="p").reasons)


@settings(deadline=None, max_examples=200)
@given(st.lists(st.text(string.ascii_letters + string.digits + " -_.()٣１é", min_size=1, max_size=14), max_size=9))
def test_any_names_are_all_kept_and_in_one_order(names: list[str]):
    result = order(names, part="p")
    assert sorted(result.names) == sorted(set(names))
    assert order(names[::-1], part="p") == result


@pytest.mark.parametrize("zero", ["٠", "０"])
def test_numbers_in_digits_of_any_script_play_by_their_value(zero: str):
    """Unicode, category Nd: the digits of a script follow each other from its zero."""
    names = ["".join(chr(ord(zero) + int(digit)) for digit in str(n)) + ".png" for n in range(1, 13)]
    result = ordered(*names)
    assert list(result.names) == names and codes(result) == {("frames-padded", "mended")}


def test_a_run_may_start_anywhere_and_nothing_is_said_of_a_sound_one():
    for start in (0, 1, 7, 9990):
        names = [f"lamp_{n:05d}.png" for n in range(start, start + 20)]
        assert ordered(*names[::-1]) == Order(tuple(names), ())


def test_nothing_and_a_single_picture_need_no_order():
    assert ordered() == Order((), ())
    assert ordered("hold.png") == Order(("hold.png",), ())
    assert ordered("lamp 7.png") == Order(("lamp 7.png",), ())


def test_a_name_given_twice_counts_once():
    assert ordered("1.png", "1.png", "2.png").names == ("1.png", "2.png")


# -- which number -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "names",
    [
        ["v2_frame_009_final.png", "v2_frame_010_final.png", "v2_frame_011_final.png"],
        ["2026-03-01 lamp 7.png", "2026-03-01 lamp 8.png", "2026-03-01 lamp 10.png"],
        ["7 of 48.png", "8 of 48.png", "9 of 48.png"],
        ["lamp (1).png", "lamp (2).png", "lamp (10).png"],
        ["lamp2 (1).png", "lamp2 (2).png", "lamp2 (3).png"],
        ["frame_001_t0040.png", "frame_002_t0080.png", "frame_003_t0120.png"],
        ["noise911_frame_1.png", "noise5_frame_2.png", "noise77_frame_3.png"],
        ["frame_010.png", "frame_011.png", "frame_012_v2.png"],
        ["van2_copy_001.png", "van2_copy_002.png", "van2_copy_003.png"],
        ["take2/lamp1.png", "take2/lamp2.png", "take2/lamp3.png"],
        ["20260301_235958.png", "20260301_235959.png"],
    ],
)
def test_the_number_that_counts_is_the_one_that_changes(names: list[str]):
    """Names as cameras, drawing programs and desktop systems write them: common practice, no source."""
    result = ordered(*names[::-1])
    assert list(result.names) == names
    assert not any(r.kind is Kind.REFUSE for r in result.reasons)


def test_two_numbers_that_disagree_are_refused():
    """Over midnight the clock starts anew: the day and the time each give another order."""
    result = ordered("20260301_235958.png", "20260301_235959.png", "20260302_000001.png")
    assert codes(result) == {("frames-unclear", "refuse")}


# -- gaps and padding -------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(st.sets(st.integers(1, 200), min_size=2, max_size=60))
def test_every_missing_number_is_told(numbers: set[int]):
    result = order([f"lamp_{n:04d}.png" for n in numbers], part="p")
    missing = sorted(set(range(min(numbers), max(numbers))) - numbers)
    if not missing:
        assert result.reasons == ()
        return
    (reason,) = result.reasons
    assert (reason.code, reason.kind) == ("frames-gap", Kind.NOTE)
    assert f"({len(missing)} missing)" in reason.what
    assert f"number {missing[0]}" in reason.what


def test_gaps_are_told_as_runs():
    result = ordered("1.png", "2.png", "4.png", "8.png", "9.png")
    assert "number 3, 5-7 (4 missing)" in said(result, "frames-gap")


def test_unpadded_numbers_are_mended_once_a_part():
    result = ordered(*(f"lamp{n}.png" for n in range(1, 49)))
    assert [(r.code, r.kind) for r in result.reasons] == [("frames-padded", Kind.MENDED)]
    assert ordered("0998.png", "0999.png", "1000.png").reasons == ()


# -- doubles ----------------------------------------------------------------------------------------

COPIES = [
    "frame 12 (1).png",
    "Copy of frame 12.png",
    "Copy (2) of frame 12.png",
    "frame 12 - Copy.png",
    "frame 12 - Copy (3).png",
    "frame 12 copy 2.png",
    "frame_12 copy 2.png",
    "frame 12 (copy).png",
    "frame 12 (3rd copy).png",
    "frame 12 - Copy - Copy.png",
    "Kopie von frame 12.png",
    "frame 12 - Kopie (2).png",
    "frame 12 (1) (2).png",
    "frame012.png",
    "frame 12.jpg",
    "FRAME 12.PNG",
]
"""What desktop systems and browsers call a second copy: common practice, no source."""


@pytest.mark.parametrize("copy", COPIES)
def test_a_second_picture_with_a_number_is_refused_by_name(copy: str):
    result = ordered("frame 11.png", "frame 12.png", "frame 13.png", copy)
    (reason,) = (r for r in result.reasons if r.kind is Kind.REFUSE)
    assert reason.code == "frames-doubled"
    assert len(reason.exhibits) >= 2 and reason.exhibits[-1].name == reason.file, "both are shown side by side"
    told = f"{reason.file} {reason.what}"
    assert copy in told and "frame 12.png" in told and "12" in reason.what


@pytest.mark.parametrize("copy", [c for c in COPIES if c.lower().startswith(("frame 12", "copy", "kopie"))])
def test_an_equal_twin_is_left_out_and_the_original_stays(copy: str):
    result = ordered("frame 11.png", "frame 12.png", "frame 13.png", copy, same=lambda a, b: True)
    assert len(result.names) == 3
    assert codes(result) == {("frames-doubled", "mended")}
    if copy.upper() != "FRAME 12.PNG" and not copy.endswith("jpg"):
        assert result.names == ("frame 11.png", "frame 12.png", "frame 13.png")


def test_equal_and_differing_doubles_are_told_apart():
    asked = []

    def same(a: str, b: str) -> bool:
        asked.append({a, b})
        return "2" in a

    result = ordered("1.png", "1 (1).png", "2.png", "2 - Copy.png", "3.png", same=same)
    assert asked == [{"1.png", "1 (1).png"}, {"2.png", "2 - Copy.png"}]
    assert codes(result) == {("frames-doubled", "refuse"), ("frames-doubled", "mended")}
    assert result.names == ("1.png", "1 (1).png", "2.png", "3.png")


def test_a_copy_of_a_bracketed_number_is_a_double():
    names = [f"lamp ({n}).png" for n in range(1, 6)]
    result = ordered(*names, "lamp (3) - Copy.png", same=lambda a, b: True)
    assert list(result.names) == names


def test_many_doubles_are_counted_not_listed():
    names = [f"{kind}_{n:02d}.png" for kind in ("lamp", "scene") for n in range(1, 49)]
    refusals = [r for r in ordered(*names).reasons if r.kind is Kind.REFUSE]
    assert len(refusals) == 9
    assert "48 numbers" in refusals[-1].what


# -- mixed and missing ------------------------------------------------------------------------------


def test_two_beginnings_in_one_run_go_by_number():
    result = ordered("scene_03.png", "lamp_01.png", "lamp_02.png", "lamp_04.png")
    assert result.names == ("lamp_01.png", "lamp_02.png", "scene_03.png", "lamp_04.png")
    assert codes(result) == {("frames-mixed-prefix", "note")}
    assert "lamp_" in said(result, "frames-mixed-prefix") and "scene_" in said(result, "frames-mixed-prefix")


def test_two_beginnings_that_collide_are_refused_whatever_they_show():
    result = ordered("lamp_01.png", "lamp_02.png", "scene_02.png", same=lambda a, b: True)
    assert codes(result) == {("frames-doubled", "refuse")}
    assert "lamp_02.png" in said(result, "frames-doubled") and "scene_02.png" in said(result, "frames-doubled")


def test_two_folders_of_one_part_collide_too():
    assert codes(ordered("a/01.png", "b/01.png", "b/02.png")) == {("frames-doubled", "refuse")}


def test_a_picture_without_a_number_among_numbered_ones_is_refused():
    result = ordered("lamp_01.png", "lamp_02.png", "cover.png")
    assert codes(result) == {("frame-unnumbered", "refuse")}
    (reason,) = result.reasons
    assert reason.file == "cover.png" and "lamps/*" in reason.mend


def test_many_pictures_without_a_number_are_counted_not_listed():
    result = ordered("lamp_01.png", "lamp_02.png", *(f"{c}.png" for c in string.ascii_lowercase))
    assert len(result.reasons) == 9
    assert "18 more" in result.reasons[-1].what


def test_pictures_without_any_number_play_by_name_and_it_is_said():
    result = ordered("dusk.png", "Dawn.png", "noon.png")
    assert result.names == ("Dawn.png", "dusk.png", "noon.png")
    assert codes(result) == {("frames-unnumbered", "note")}
    assert ": " + ", ".join(result.names) in said(result, "frames-unnumbered")


# -- names for the radio ----------------------------------------------------------------------------


@pytest.mark.system
@pytest.mark.skipif(not shutil.which("sort"), reason="needs coreutils")
@pytest.mark.parametrize("total", [1, 9, 10, 2400, 9999, 10_000, 10_001])
def test_byte_order_of_frame_names_is_playing_order(total: int):
    names = [frame_name(i, total, ".png") for i in range(total)]
    assert gnu_sort(names) == names  # sort(1) in the C locale compares bytes, as the player does
    assert len(set(names)) == total


def test_frame_and_part_names_have_the_form_the_format_shows():
    # AOSP, cmds/bootanimation, format description: folders part0, part1 ...; zero-padded frame names.
    assert frame_name(0, 48, ".png") == "0001.png"
    assert frame_name(47, 48, ".jpg") == "0048.jpg"
    assert frame_name(0, 12_000, ".png") == "00001.png"
    assert [part_name(i) for i in (0, 1, 10)] == ["part0", "part1", "part10"]


@pytest.mark.parametrize(("index", "total"), [(-1, 3), (3, 3), (0, 0)])
def test_a_frame_outside_its_part_is_our_fault(index: int, total: int):
    with pytest.raises(ValueError, match="frame"):
        frame_name(index, total, ".png")


def test_words_and_roman_figures_that_make_a_complete_run_are_numbers():
    result = ordered("lamps/lamp three.png", "lamps/lamp one.png", "lamps/lamp two.png")
    assert [name.split()[1] for name in result.names] == ["one.png", "two.png", "three.png"]
    assert codes(result) == {("frames-in-words", "mended")}
    assert "lamp one.png, lamp two.png, lamp three.png" in said(result, "frames-in-words")
    roman = ordered(*(f"Lamp {n}.png" for n in ("IX", "I", "V", "IV", "II", "III", "VIII", "VII", "VI")))
    assert [name[5:-4] for name in roman.names] == ["I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX"]
    gap = ordered("one.png", "two.png", "four.png")
    assert gap.names == ("four.png", "one.png", "two.png") and codes(gap) == {("frames-unnumbered", "note")}
