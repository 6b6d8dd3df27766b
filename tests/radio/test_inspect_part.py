"""What is said of a part's frames, their order and their trim.txt."""

from dataclasses import replace

import pytest

from keyturn.radio.archive import Entry, Verdict
from keyturn.radio.inspect import look
from keyturn.shop.reasons import Kind
from radio.archives import DESC, RADIOS, TALL, codes, frame, good
from samples import with_player, with_tables


@pytest.mark.parametrize(
    ("change", "code", "kind"),
    [
        ({"compressed": True}, "frame-compressed", Kind.REFUSE),
        ({"interlaced": True}, "frame-interlaced", Kind.REFUSE),
        ({"alpha": True}, "frame-alpha", Kind.NOTE),
        ({"bits": 16}, "frame-deep", Kind.NOTE),
        ({"width": 1024, "height": 768}, "frame-size", Kind.REFUSE),
        ({"kind": "other", "width": None, "height": None}, "frame-not-a-picture", Kind.REFUSE),
    ],
)
def test_what_is_wrong_with_a_frame_is_said_of_that_frame(change: dict[str, object], code: str, kind: Kind) -> None:
    entries = good()
    entries[5] = replace(entries[5], **change)
    found = look(entries, DESC).reasons
    assert {(r.code, r.kind, r.file) for r in found} == {(code, kind, entries[5].name)}


def test_a_radio_known_to_show_interlaced_pictures_takes_them() -> None:
    entries = good()
    entries[5] = replace(entries[5], interlaced=True)
    knows = with_tables(TALL, firmware={"interlaced": True})
    assert codes(look(entries, DESC, TALL)) == ["frame-interlaced"] and codes(look(entries, DESC, knows)) == []


def test_compressed_frames_are_skipped_and_an_all_compressed_part_is_empty() -> None:
    # AOSP format description: the reference player reads stored entries only
    entries = [replace(e, compressed=e.folder == "part0" and bool(e.leaf)) for e in good()]
    verdict = look(entries, DESC)
    assert verdict.parts[0].frames == () and verdict.parts[0].played is None
    assert codes(verdict) == ["part-empty", "frame-compressed"]
    assert "11 more" in verdict.reasons[1].what


def test_unpadded_numbers_play_in_byte_order() -> None:
    # AOSP format description: names are compared byte by byte, so frame10 comes before frame2
    names = [f"part0/frame{n}.png" for n in range(1, 13)]
    entries = [Entry("desc.txt", False), *map(frame, names), frame("part1/0001.png")]
    verdict = look(entries, DESC)
    assert verdict.parts[0].frames == tuple(sorted(names, key=str.encode))
    assert codes(verdict) == ["frames-out-of-order"]
    assert "frame2.png" in verdict.reasons[0].what and verdict.reasons[0].file == "part0/frame10.png"


def test_capital_letters_and_long_numbers_do_not_upset_the_order() -> None:
    names = [f"part0/f{'9' * 240}.png", "part0/f1.png", "part1/a.png"]
    assert codes(look([Entry("desc.txt", False), *map(frame, names)], DESC)) == []


def test_a_part_s_sound_and_trim_are_no_frames() -> None:
    extra = [Entry("part0/audio.wav", False), Entry("part0/trim.txt", False)]
    cropped = [replace(e, width=100, height=80) if e.name == "part0/0003.png" else e for e in good()]
    assert look([*cropped, *extra], DESC, with_player(TALL, generation="third")).reasons == ()
    old = look([*cropped, *extra], DESC, TALL)
    assert codes(old) == ["trim-not-known", "frame-size", "frame-not-a-picture"]


def test_a_folder_of_another_spelling_leaves_the_part_empty_and_is_pointed_out() -> None:
    entries = [replace(e, name=e.name.replace("part1", "Part1")) for e in good()]
    (empty,) = (r for r in look(entries, DESC).reasons if r.code == "part-empty")
    assert "Part1" in empty.mend


# -- cropped frames ---------------------------------------------------------------------------------

LATER = RADIOS["wide-1280x720"]
TRIM = "part0/trim.txt"


def cropped(text: bytes, *sizes: tuple[int, int], compressed: bool = False) -> Verdict:
    """A part of frames of these sizes and a trim.txt, as a later player with a panel of 1280 x 720 sees it."""
    frames = [frame(f"part0/{n:04}.png", width=w, height=h) for n, (w, h) in enumerate(sizes, 1)]
    entries = [Entry("desc.txt", False), *frames, Entry(TRIM, compressed)]
    return look(entries, b"1280 720 12\np 0 0 part0 #0b1d2a\n", LATER, {} if compressed else {TRIM: text})


def test_cropped_frames_of_their_lines_sizes_are_sound() -> None:
    """There is a line a frame, WxH+X+Y, in playing order (AOSP, format description). Frames without one are whole."""
    assert cropped(b"10x20+0+0\n1x1+1279+719\n", (10, 20), (1, 1)).reasons == ()
    (told,) = cropped(b"10x20+0+0\n", (10, 20), (1280, 720)).reasons
    assert (told.code, told.kind) == ("trim-lines", Kind.NOTE)


@pytest.mark.parametrize(
    ("text", "sizes", "wanted"),
    [
        (b"10x20+0+0\n", [(10, 21)], ["frame-size"]),
        (b"10x20+0+0", [(10, 20)], ["trim-lines", "frame-size"]),
        (b"ten\n10x20+0+0\n", [(10, 20), (10, 20)], ["trim-lines", "frame-size"]),
        (b"10x20+1271+0\n", [(10, 20)], ["trim-outside"]),
        (b"10x20+0+-1\n", [(10, 20)], ["trim-outside"]),
        (b"10x20+0+0\n10x20+0+0\n", [(10, 20)], ["trim-lines"]),
    ],
)
def test_lines_and_frames_that_do_not_go_together(text: bytes, sizes: list[tuple[int, int]], wanted: list[str]) -> None:
    assert list(dict.fromkeys(codes(cropped(text, *sizes)))) == wanted


def test_a_compressed_trim_txt_is_skipped_as_every_compressed_entry_is() -> None:
    assert codes(cropped(b"", (10, 20), compressed=True)) == ["trim-compressed"]
