"""Entries, and which of them a radio takes for the frames of a row."""

import pytest

from keyturn.radio.archive import Entry, PartSeen, frames_of, part_seen
from keyturn.radio.desc import Row
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.player_facts import of_generation

ROW = Row("p", 1, 15, "part0")
LATER = of_generation("third")


@pytest.mark.parametrize(
    ("name", "folder", "leaf"),
    [("part0/0001.png", "part0", "0001.png"), ("desc.txt", "", "desc.txt"), ("a/b/", "a/b", ""), ("a/b/c", "a/b", "c")],
)
def test_folder_and_name(name: str, folder: str, leaf: str) -> None:
    entry = Entry(name, False)
    assert (entry.folder, entry.leaf) == (folder, leaf)


def test_frames_are_all_in_the_folder_itself_but_sound_and_trim_in_byte_order() -> None:
    # AOSP format description; in UTF-8 "é" is C3 A9 and sorts after every ASCII letter
    names = ["part0/", "part0/é.png", "part0/Z.png", "part0/a.png", "part0/10.png", "part0/9.png", "part0/notes.txt"]
    others = ["part0/audio.wav", "part0/trim.txt", "part0/deeper/1.png", "part00/1.png", "1.png"]
    frames = frames_of(ROW, [Entry(name, False) for name in names + others], LATER)
    assert [frame.leaf for frame in frames] == ["10.png", "9.png", "Z.png", "a.png", "notes.txt", "é.png"]


def test_older_players_count_sound_and_trim_as_frames() -> None:
    """4.0 and 4.4 (AOSP, observed)."""
    entries = [Entry(f"part0/{name}", False) for name in ("1.png", "audio.wav", "trim.txt")]
    assert len(frames_of(ROW, entries, of_generation("second"))) == 3
    assert len(frames_of(ROW, entries, of_generation("fourth"))) == 1


def test_an_entry_with_too_long_a_name_is_skipped() -> None:
    """AOSP, ANIM_ENTRY_NAME_MAX: names above 255 bytes are skipped."""
    long, longest = (Entry(f"part0/{'9' * length}.png", False) for length in (246, 245))
    assert part_seen(ROW, [long, longest], LATER).frames == (longest.name,)


def test_compressed_entries_are_frames_that_are_not_seen() -> None:
    entries = [Entry("part0/1.png", True), Entry("part0/2.png", False)]
    assert len(frames_of(ROW, entries, LATER)) == 2
    assert part_seen(ROW, entries, LATER) == PartSeen(ROW, ("part0/2.png",))


def test_a_part_with_frames_plays_and_one_without_or_with_odd_numbers_does_not() -> None:
    assert PartSeen(ROW, ("a", "b")).played == PlayedPart("p", 1, 15, 2)
    assert PartSeen(ROW, ()).played is None
    assert PartSeen(Row("p", -1, 0, "part0"), ("a",)).played is None
    assert PartSeen(Row("p", 1, -1, "part0"), ("a",)).played is None
