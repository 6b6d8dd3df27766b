"""The literal player itself, against figures worked out by hand.

Source of every expectation: the format as Android's boot animation player reads it (Android Open Source Project,
frameworks/base, cmds/bootanimation), observed on 4.0, 4.4, 10 and 14.
"""

from __future__ import annotations

import pytest

from radio.boot_zips import File, animation, part, png, zip_of
from radio.reference_player import FIRST, FOURTH, GENERATIONS, SECOND, THIRD, archive
from radio.reference_player.player import play
from radio.reference_player.rows import Row, read
from radio.reference_player.screen import Played

LATER = (SECOND, THIRD, FOURTH)
SIZE = "768 1024 10\n"
"""Ten frames a second: a beat of 100 ms."""


def seen(played: Played) -> list[tuple[float, int, str | None, int]]:
    """When work began, part, what is seen and the number of the play, without the black picture."""
    return [(round(d.work_ms, 3), d.part, d.seen, d.play) for d in played.drawn if d.part is not None]


def names(played: Played) -> list[str | None]:
    return [d.seen for d in played.drawn if d.part is not None]


# -- time -----------------------------------------------------------------------------------------------


def test_an_additive_beat_waits_after_the_work_and_a_fixed_beat_holds_it() -> None:
    data = animation(SIZE + "p 2 0 a\n", part("a", 2))
    # First play: 30 ms to decode and 10 to draw; second play: 10 to draw. Each frame then waits 100 ms.
    additive = play(data, FIRST, boot_ms=10_000, decode_ms=30, draw_ms=10)
    assert seen(additive) == [
        (0, 0, "0001.png", 0),
        (140, 0, "0002.png", 0),
        (280, 0, "0001.png", 1),
        (390, 0, "0002.png", 1),
    ]
    assert additive.released_ms == pytest.approx(500)
    for generation in LATER:
        fixed = play(data, generation, boot_ms=10_000, decode_ms=30, draw_ms=10)
        assert [at for at, *_ in seen(fixed)] == [0, 100, 200, 300]
        slow = play(data, generation, boot_ms=10_000, decode_ms=120, draw_ms=10)
        assert [at for at, *_ in seen(slow)] == [0, 130, 260, 360]
        assert slow.released_ms == pytest.approx(460)


def test_a_picture_is_seen_when_its_work_is_done_until_the_next_one_is() -> None:
    data = animation(SIZE + "p 1 0 a\n", part("a", 2))
    spans = list(play(data, THIRD, boot_ms=10_000, decode_ms=30, draw_ms=10).spans())
    assert [(s.start_ms, s.end_ms, s.frame) for s in spans] == [(40, 140, "0001.png"), (140, 200, "0002.png")]


def test_the_first_two_generations_show_black_before_frame_1() -> None:
    data = animation(SIZE + "p 1 0 a\n", part("a", 2))
    black = [play(data, g, boot_ms=10_000, decode_ms=30, draw_ms=10).black_ms for g in GENERATIONS]
    assert black == [40, 40, 0, 0]


def test_a_pause_is_waited_after_every_play() -> None:
    data = animation(SIZE + "p 2 3 a\n", part("a", 1))
    assert [at for at, *_ in seen(play(data, FIRST, boot_ms=10_000))] == [0, 400]
    for generation in LATER:
        played = play(data, generation, boot_ms=10_000)
        assert [at for at, *_ in seen(played)] == [0, 400]
        assert played.released_ms == pytest.approx(800)


def test_the_first_generation_is_killed_on_the_spot() -> None:
    data = animation(SIZE + "p 0 30 a\nc 5 30 b\n", part("a", 3), part("b", 3))
    for boot in (50, 250, 301, 3299, 3301):
        played = play(data, FIRST, boot_ms=boot)
        assert (played.released_ms, played.delay_ms, played.exit_seen_ms) == (boot, 0, None)
    assert {d.part for d in played.drawn} == {None, 0}


@pytest.mark.parametrize(
    ("boot", "frames", "let_go"), [(1, 1, 100), (99, 1, 100), (101, 2, 200), (299, 3, 300), (301, 4, 400)]
)
def test_the_boots_end_is_looked_for_after_each_frames_beat(boot: float, frames: int, let_go: float) -> None:
    data = animation(SIZE + "p 0 0 a\n", part("a", 3))
    for generation in LATER:
        played = play(data, generation, boot_ms=boot, decode_ms=60, draw_ms=20)
        assert (len(seen(played)), played.released_ms) == (frames, let_go)
        assert played.exit_seen_ms == let_go


def test_a_pause_is_never_cut_short_on_the_second_and_third() -> None:
    data = animation(SIZE + "p 0 30 a\n", part("a", 1))  # 100 ms and 3 s
    for generation in (SECOND, THIRD):
        in_the_frame = play(data, generation, boot_ms=50)
        assert (len(seen(in_the_frame)), in_the_frame.released_ms) == (1, 3100)
        # Nobody looks during the pause: one more frame, and its pause.
        in_the_pause = play(data, generation, boot_ms=101)
        assert (len(seen(in_the_pause)), in_the_pause.released_ms) == (2, 6200)
        assert in_the_pause.delay_ms == pytest.approx(6099)


def test_a_pause_is_broken_off_in_steps_of_50_ms_on_the_fourth() -> None:
    data = animation(SIZE + "p 0 30 a\n", part("a", 1))
    in_the_pause = play(data, FOURTH, boot_ms=1001)
    assert (len(seen(in_the_pause)), in_the_pause.released_ms) == (1, 1050)
    assert play(data, FOURTH, boot_ms=50).released_ms == 100  # seen after the frame: no pause at all
    last_step = play(data, FOURTH, boot_ms=3051)  # after the last step nobody looks: one more frame
    assert (len(seen(last_step)), last_step.released_ms) == (2, 3200)


def test_a_once_only_p_row_that_is_cut_off_still_waits_its_pause() -> None:
    data = animation(SIZE + "p 1 20 a\np 0 0 b\n", part("a", 5), part("b", 1))
    for generation, let_go in ((SECOND, 2200), (THIRD, 2200), (FOURTH, 200)):
        played = play(data, generation, boot_ms=150)
        assert (len(seen(played)), played.released_ms) == (2, let_go)


def test_c_rows_play_to_the_end_also_those_not_yet_begun() -> None:
    data = animation(SIZE + "p 0 0 a\nc 2 5 b\np 1 0 a\nc 1 0 a\n", part("a", 2), part("b", 2))
    for generation, let_go in ((SECOND, 1700), (THIRD, 1700), (FOURTH, 700)):
        played = play(data, generation, boot_ms=50)
        assert [(d.part, d.play) for d in played.drawn if d.part is not None] == [
            (0, 0), (1, 0), (1, 0), (1, 1), (1, 1), (3, 0), (3, 0)
        ]  # fmt: skip
        assert played.released_ms == pytest.approx(let_go)


def test_an_endless_c_row_ends_its_play_and_the_row_after_it_is_reached() -> None:
    data = animation(SIZE + "c 0 0 a\nc 1 0 b\n", part("a", 4), part("b", 1))
    for generation in LATER:
        played = play(data, generation, boot_ms=450)
        assert ([d.part for d in played.drawn if d.part is not None], played.released_ms) == ([0] * 8 + [1], 900)


@pytest.mark.parametrize("desc", ["p 0 0 lost\n", "p 1 0 a\np 0 0 lost\n", "c 0 0 lost\np 0 0 a\n"])
def test_an_endless_row_without_a_frame_never_lets_go(desc: str) -> None:
    data = animation(SIZE + desc, part("a", 2))
    for generation in LATER:
        played = play(data, generation, boot_ms=20_000)
        assert (played.released_ms, played.delay_ms, played.exit_seen_ms) == (None, None, None)
    assert play(data, FIRST, boot_ms=20_000).delay_ms == 0
    deflated = [File(b"lost/1.png", png(768, 1024), deflated=True)]
    assert play(animation(SIZE + desc, part("a", 2), deflated), FOURTH, boot_ms=20_000).released_ms is None


def test_only_the_fourth_looks_for_the_boots_end_in_the_pause_of_a_row_without_frames() -> None:
    long, short = (animation(SIZE + row, part("a", 1)) for row in ("p 0 9 lost\n", "p 0 0 lost\n"))
    assert [play(long, g, boot_ms=1030).delay_ms for g in LATER] == [None, None, 20]  # 9 x 100 ms, then 3 x 50
    assert [play(short, g, boot_ms=1030).delay_ms for g in LATER] == [None, None, None]


def test_an_endless_row_without_a_frame_does_no_harm_when_the_boot_is_over_before() -> None:
    data = animation(SIZE + "p 1 0 a\np 0 0 lost\n", part("a", 2))
    for generation in LATER:
        assert play(data, generation, boot_ms=150).released_ms == 200


def test_an_f_row_fades_for_as_many_frames_as_it_says_on_the_fourth() -> None:
    data = animation(SIZE + "f 0 0 a 5\nf 0 0 a 5\n", part("a", 2))
    played = play(data, FOURTH, boot_ms=150)
    assert [d.fade for d in played.drawn] == [0, 0, 0.2, 0.4, 0.6, 0.8, 1]
    assert played.released_ms == pytest.approx(700)
    for generation in (SECOND, THIRD):
        assert play(data, generation, boot_ms=150).released_ms == 200
    assert play(data, FIRST, boot_ms=150).drawn[1:] == []


def test_a_c_row_after_a_faded_f_row_has_no_end_on_the_fourth() -> None:
    data = animation(SIZE + "f 0 0 a 2\nc 1 0 b\n", part("a", 2), part("b", 3))
    played = play(data, FOURTH, boot_ms=150)
    assert names(played) == ["0001.png", "0002.png"] * 2 + ["0001.png", "0002.png", "0003.png"]
    assert played.released_ms is None
    assert play(data, THIRD, boot_ms=150).released_ms == 500


# -- memory ---------------------------------------------------------------------------------------------

MIB = 2**20


def mib(data: bytes, *, npot: bool = True) -> list[float]:
    return [round(play(data, g, boot_ms=20_000, npot=npot).peak_bytes / MIB, 1) for g in GENERATIONS]


def test_memory_of_48_repeating_frames() -> None:
    data = animation("768 1024 30\np 0 0 a\n", part("a", 48))
    assert mib(data) == [96, 192, 144, 144]
    assert mib(data, npot=False) == [96, 192, 192, 192]
    see_through = animation("768 1024 30\np 0 0 a\n", part("a", 48, colour=6))
    assert mib(see_through) == [192, 192, 144, 144]


def test_memory_of_150_frames_shown_once() -> None:
    once = animation("1280 720 30\np 1 0 a\n", part("a", 150, 1280, 720))
    # 2048 x 1024 pixels at 2 and 4 bytes; 1280 x 720 at 4; 150 of them.
    assert mib(once) == [4, 8, 3.5, 527.3]
    held = animation("1280 720 30\np 1 0 a\np 0 0 b\n", part("a", 150, 1280, 720), part("b", 1, 1280, 720))
    # The one texture of once-only parts stays while the hold's own is made: 2 x 3.5; 151 x 3.5 on the fourth.
    assert mib(held) == [8, 16, 7, 530.9]


def test_repeating_parts_add_up_where_they_are_freed_after_the_animation() -> None:
    data = animation("768 1024 30\np 2 0 a\np 3 0 b\np 0 0 c\n", part("a", 10), part("b", 20), part("c", 5))
    assert mib(data) == [40, 80, 105, 105]  # 20 x 2, 20 x 4; 35 x 3


# -- the archive ----------------------------------------------------------------------------------------

GOOD = [File(b"desc.txt", SIZE.encode() + b"p 1 0 a\n"), *part("a", 2)]


def outcomes(data: bytes) -> list[bool]:
    return [play(data, g, boot_ms=20_000).shown for g in GENERATIONS]


def test_a_good_archive_is_shown() -> None:
    assert outcomes(zip_of(GOOD)) == [True] * 4


def test_bytes_before_the_zip_and_a_cut_off_zip_are_refused() -> None:
    for data in (zip_of(GOOD, before=b"#!"), zip_of(GOOD)[:-30], b"", b"PK\3\4", zip_of([])):
        assert [play(data, g, boot_ms=20_000).refused for g in GENERATIONS] == [True] * 4
        assert outcomes(data) == [False] * 4


def test_a_doubled_entry_is_refused_from_10_on() -> None:
    data = zip_of([*GOOD, GOOD[1]])
    assert outcomes(data) == [True, True, False, False]
    assert names(play(data, SECOND, boot_ms=20_000)) == ["0001.png", "0002.png"]


def test_deflated_frames_are_skipped_and_a_deflated_desc_shows_nothing() -> None:
    deflated = [File(f.name, f.data, deflated=f.name.endswith(b"1.png")) for f in GOOD]
    assert names(play(zip_of(deflated), THIRD, boot_ms=20_000)) == ["0002.png"]
    assert outcomes(zip_of([File(b"desc.txt", GOOD[0].data, deflated=True), *GOOD[1:]])) == [False] * 4


def test_a_name_above_255_bytes_is_skipped() -> None:
    for length, found in ((255, True), (256, False)):
        long = File(b"a/" + b"x" * (length - 6) + b".png", png(768, 1024))
        data = zip_of([GOOD[0], long])
        assert outcomes(data) == [found] * 4


def test_frames_play_in_the_order_of_their_bytes() -> None:
    files = [File(f"a/{n}.png".encode(), png(9, 9)) for n in ("10", "9", "B", "a")]
    assert names(play(zip_of([GOOD[0], *files]), FIRST, boot_ms=20_000)) == ["10.png", "9.png", "B.png", "a.png"]


def test_folders_must_be_at_the_root_and_spelt_as_in_the_row() -> None:
    inside = [File(b"boot/" + f.name, f.data) for f in GOOD]
    assert outcomes(zip_of(inside)) == [False] * 4
    assert outcomes(animation(SIZE + "p 1 0 A\n", part("a", 1))) == [False] * 4


FIRST_ONE, TWICE = ["0001.png"], ["0001.png", "0001.png"]


@pytest.mark.parametrize(
    ("file", "seen_by", "crashes"),
    [
        # repeated; a crash; a crash; the background for a beat
        (File(b"a/Thumbs.db", b"\xd0\xcf"), (TWICE, FIRST_ONE, FIRST_ONE, ["0001.png", None]), {SECOND, THIRD}),
        (File(b"a/trim.txt", b"768x1024+0+0\n"), (TWICE, FIRST_ONE, FIRST_ONE, FIRST_ONE), {SECOND}),
        (File(b"a/audio.wav", b"RIFF"), (TWICE, FIRST_ONE, FIRST_ONE, FIRST_ONE), {SECOND}),
        (File(b"a/9.png", png(9, 9, bits=16)), (["0001.png", "9.png"],) * 3 + (["0001.png", None],), set()),
    ],
)
def test_files_that_are_no_pictures(file: File, seen_by: tuple[list[str | None], ...], crashes: set[int]) -> None:
    played = [play(zip_of([GOOD[0], GOOD[1], file]), g, boot_ms=20_000) for g in GENERATIONS]
    assert [names(p) for p in played] == list(seen_by)
    assert {p.generation for p in played if p.crashed} == crashes


def test_trim_boxes_go_to_the_frames_in_their_order() -> None:
    data = zip_of([*GOOD, File(b"a/trim.txt", b"7x8+1+2\n9x9+3+4")])
    for generation in (THIRD, FOURTH):
        found = archive.read(data, generation)
        assert found is not None
        assert [f.box for f in found.parts[0].frames] == [(7, 8, 1, 2), None]


# -- rows -----------------------------------------------------------------------------------------------


def rows(text: bytes) -> list[tuple[Row, ...]]:
    return [read(text, g).rows for g in GENERATIONS]


def test_the_last_row_needs_its_newline() -> None:
    assert [len(r) for r in rows(b"9 9 9\np 1 0 a\np 0 0 b")] == [1] * 4
    assert [len(r) for r in rows(b"9 9 9\r\np 1 0 a\r\np 0 0 b\r\n")] == [2] * 4
    assert read(b"9 9 9\r\n", FIRST).size == (9, 9, 9)


def test_a_byte_order_mark_hides_size_and_rate_but_not_the_rows() -> None:
    text = b"\xef\xbb\xbf9 9 9\np 1 0 a\n"
    assert [read(text, g).size for g in GENERATIONS] == [None] * 4
    assert [len(r) for r in rows(text)] == [1] * 4
    assert [play(animation(text, part("a", 1)), g, boot_ms=900).random for g in GENERATIONS] == [True] * 4


def test_a_row_that_begins_with_a_blank_is_dropped_by_the_first_and_the_fourth() -> None:
    for blank in (b" ", b"\t", b"  "):
        assert [len(r) for r in rows(b"9 9 9\n" + blank + b"p 1 0 a\n")] == [0, 1, 1, 0]


def test_types_that_a_generation_does_not_know() -> None:
    kinds = [[r.type for r in found] for found in rows(b"9 9 9\np 1 0 a\nc 1 0 a\nf 1 0 a\nz 1 0 a\n# note\n")]
    assert kinds == [["p"], ["p", "c", "f", "z"], ["p", "c", "f", "z"], ["p", "c", "f", "z"]]


def test_colour_and_fade_of_a_row() -> None:
    plain, faded, short = b"p 1 0 a #0B1d2a\n", b"f 1 0 a 12 #0b1d2a\n", b"p 1 0 a #0b1\n"
    assert [r[0].colour for r in rows(plain)] == ["000000", "0b1d2a", "0b1d2a", "0b1d2a"]
    assert [(r[0].colour, r[0].fade) for r in rows(faded)[1:]] == [("000000", 0), ("000000", 0), ("0b1d2a", 12)]
    assert [(r[0].colour, r[0].fade) for r in rows(b"f 1 0 a #0b1d2a\n")[1:]] == [
        ("0b1d2a", 0),
        ("0b1d2a", 0),
        ("000000", 0),
    ]
    assert [r[0].colour for r in rows(short)] == ["000000"] * 4
