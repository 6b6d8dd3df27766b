"""What a radio would make of an archive as a whole."""

import math
from dataclasses import replace

import pytest

from keyturn.radio.archive import Entry
from keyturn.radio.inspect import look
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind
from radio.archives import DESC, RADIOS, TALL, codes, frame, good
from samples import with_player


@pytest.mark.parametrize("radio", [None, TALL])
def test_a_good_archive_has_no_reasons(radio: Radio | None) -> None:
    verdict = look(good(), DESC, radio)
    assert verdict.reasons == ()
    assert [part.played for part in verdict.parts] == [PlayedPart("p", 1, 2, 12), PlayedPart("p", 0, 0, 1)]
    assert verdict.parts[0].frames[0] == "part0/0001.png"


def test_a_folder_zipped_instead_of_its_contents() -> None:
    entries = [replace(e, name=f"lamps/{e.name}") for e in good()]
    verdict = look(entries, None)
    assert verdict.desc is None
    assert codes(verdict, Kind.REFUSE) == ["desc-nested"]


@pytest.mark.parametrize(
    ("name", "code"), [("desc.txt.txt", "desc-misnamed"), ("DESC.TXT", "desc-misnamed"), ("notes.doc", "desc-missing")]
)
def test_a_command_file_under_another_name(name: str, code: str) -> None:
    assert codes(look([Entry(name, False), *good()[1:]], None), Kind.REFUSE) == [code]


def test_a_compressed_command_file_is_refused_and_still_read() -> None:
    entries = [Entry("desc.txt", True), *good()[1:]]
    verdict = look(entries, DESC)
    assert codes(verdict) == ["desc-compressed"]
    assert len(verdict.parts) == 2


@pytest.mark.parametrize("name", ["__MACOSX/part0/._0001.png", "Thumbs.db", "part9/0001.png"])
def test_entries_of_no_row_are_noted(name: str) -> None:
    verdict = look([*good(), Entry(name, False)], DESC)
    assert [(r.code, r.kind, r.file) for r in verdict.reasons] == [("entry-unused", Kind.NOTE, name)]


def test_an_entry_twice_in_the_archive() -> None:
    """From 10 on the whole archive is refused (AOSP, observed)."""
    verdict = look([*good(), good()[5]], DESC)
    assert codes(verdict) == ["entry-doubled", "zip-refused"]
    assert "third and fourth generations" in verdict.reasons[1].what
    shown = {generation: view.shown for generation, view in verdict.by_generation.items()}
    assert shown == {"first": True, "second": True, "third": False, "fourth": False}
    assert not verdict.shown


def test_traps_of_the_command_file_are_reasons_and_harmless_ones_notes() -> None:
    verdict = look(good(), DESC[:-1].replace(b"30\n", b"30\r\n"))
    assert codes(verdict, Kind.REFUSE) == ["row-unterminated"]
    assert codes(verdict, Kind.NOTE) == ["line-endings", "entry-unused"]
    assert all(r.file == "desc.txt" for r in verdict.reasons[:2])


def test_rows_after_an_endless_row() -> None:
    verdict = look(good(), b"768 1024 30\np 0 0 part1\np 1 0 part0\n")
    assert codes(verdict, Kind.REFUSE) == ["row-unreachable"]


def test_what_one_radio_in_particular_does_not_take() -> None:
    desc = b"768 1024 60\nc 1 0 part0 #112233\np 0 0 part1\n"
    found = look(good(), desc, RADIOS["compact-800x480"])
    assert codes(found) == ["type-dropped", "panel-size", "fps-not-trusted"]
    jpegs = [replace(e, kind="jpeg") if e.kind == "png" else e for e in good()]
    assert codes(look(jpegs, DESC)) == []
    assert codes(look(jpegs, DESC, TALL)) == ["frame-format"]


def test_a_loop_beyond_the_radio_s_memory() -> None:
    many = [
        frame(f"part1/{n:04}.png") for n in range(2, 160)
    ]  # 159 frames of 2 MiB and one more picture, 256 MiB allowed
    verdict = look([*good(), *many], DESC, TALL)
    assert codes(verdict) == ["memory-exceeded"]
    assert verdict.reasons[0].what.startswith("the parts together hold 320 MiB")


def test_more_plays_than_the_radio_is_trusted_with() -> None:
    trusting = TALL.model_copy(update={"firmware": TALL.firmware.model_copy(update={"max_plays": 20})})
    desc = b"768 1024 30\np 15 0 part0\np 0 0 part1\n"
    assert codes(look(good(), desc, TALL)) == ["count-not-trusted"]
    assert codes(look(good(), desc, trusting)) == []


def test_nothing_at_all() -> None:
    verdict = look([], None)
    assert (verdict.desc, verdict.parts) == (None, ())
    assert codes(verdict) == ["desc-missing"]


# -- what keeps the home screen ----------------------------------------------------------------------


def test_an_endless_row_without_a_frame_comes_first_and_is_said_plainly() -> None:
    """4.4, 10 and 14 look only after a frame whether the boot is over; 4.0 is killed (AOSP, observed)."""
    verdict = look(good(), b"768 1024 30\np 1 0 part0\np 0 0 part9\n")
    first = verdict.reasons[0]
    assert (first.code, first.kind) == ("screen-never-released", Kind.REFUSE)
    assert "the home screen may never appear" in first.what
    assert "second and third and fourth generations" in first.what
    assert math.isinf(verdict.delay_s) and verdict.by_generation["first"].delay_s == 0.0


def test_an_endless_row_whose_frames_are_all_compressed_never_lets_go() -> None:
    entries = [replace(e, compressed=e.folder == "part1" and bool(e.leaf)) for e in good()]
    assert look(entries, DESC).reasons[0].code == "screen-never-released"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (b"p 0 90 part0\n", "the pause of part0, which repeats, is not cut short"),
        (b"p 1 90 part0\np 0 0 part1\n", "the pause of part0 is not cut short"),
        (b"c 9 0 part0\np 0 0 part1\n", "part0 is of type c"),
    ],
)
def test_what_holds_the_screen_is_said_with_its_seconds(rows: bytes, said: str) -> None:
    verdict = look(good(), b"768 1024 30\n" + rows)
    held = [r for r in verdict.reasons if r.code == "home-screen-held"]
    assert held and verdict.reasons[0] in held
    assert any(said in r.what and r.kind is Kind.REFUSE for r in held)
    assert all("first" not in r.what for r in held)


def test_a_fade_holds_the_screen_on_the_fourth() -> None:
    verdict = look(good(), b"768 1024 30\nf 0 0 part0 90 #000000\n", with_player(TALL, generation="fourth"))
    (held,) = [r for r in verdict.reasons if r.code == "home-screen-held"]
    assert held.kind is Kind.REFUSE and "part0 fades for 90 frames" in held.what
    assert verdict.delay_s == pytest.approx(3.0, abs=0.1)


# -- how each generation reads -----------------------------------------------------------------------


@pytest.mark.parametrize(("generation", "shown"), [("first", 0), ("second", 1), ("third", 1), ("fourth", 0)])
def test_a_row_that_begins_with_a_blank(generation: str, shown: int) -> None:
    """Dropped by 4.0 and 14, read by 4.4 and 10 (AOSP, observed)."""
    verdict = look(good(), b"768 1024 30\n p 0 0 part0\n", with_player(TALL, generation=generation))
    assert len(verdict.parts) == shown
    assert ("row-leading-blank" in codes(verdict, Kind.REFUSE)) == (not shown)


def test_bytes_before_the_zip_and_a_deflated_desc_show_nothing() -> None:
    before = look(good(), DESC, bytes_before=True)
    assert not before.shown and "zip-begins-late" in codes(before, Kind.REFUSE)
    deflated = look([Entry("desc.txt", True), *good()[1:]], DESC)
    assert not deflated.shown and deflated.desc is None


@pytest.mark.parametrize(
    ("generation", "said"),
    [("first", "repeated"), ("second", "may crash"), ("third", "may crash"), ("fourth", "background")],
)
def test_a_file_that_is_no_picture_by_generation(generation: str, said: str) -> None:
    verdict = look([*good(), Entry("part0/Thumbs.db", False)], DESC, with_player(TALL, generation=generation))
    (told,) = [r for r in verdict.reasons if r.code == "frame-not-a-picture"]
    assert told.kind is Kind.REFUSE and said in told.what


def test_lines_of_stock_archives_of_new_radios_are_notes() -> None:
    """dynamic_colors, $SYSTEM, comments and a clock position (AOSP format description)."""
    text = b"# ours\n768 1024 30 1\ndynamic_colors part0 #112233 #112233 #112233 #112233 0 9\n$SYSTEM\n"
    verdict = look(good(), text + b"p 1 0 part0 #000000 c 20\np 0 0 part1\n")
    assert codes(verdict, Kind.REFUSE) == []
    assert codes(verdict, Kind.NOTE).count("line-skipped") == 3


def test_the_colour_of_an_f_row_stands_after_its_fade_on_the_fourth() -> None:
    radio = with_player(TALL, generation="fourth")
    late = look(good(), b"768 1024 30\nf 0 0 part0 #112233\n", radio)
    assert late.parts[0].row.colour is None and "colour-odd" in codes(late, Kind.NOTE)
    right = look(good(), b"768 1024 30\nf 0 0 part0 2 #112233\n", radio)
    assert (right.parts[0].row.colour, right.parts[0].row.fade) == ("#112233", 2)
