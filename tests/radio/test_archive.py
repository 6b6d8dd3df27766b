"""Entries, and which of them a radio takes for the frames of a row."""

import pytest

from keyturn.radio.archive import Entry, PartSeen, frames_of, part_seen
from keyturn.radio.desc import Row
from keyturn.radio.timeline import PlayedPart

ROW = Row("p", 1, 15, "part0")


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
    frames = frames_of(ROW, [Entry(name, False) for name in names + others])
    assert [frame.leaf for frame in frames] == ["10.png", "9.png", "Z.png", "a.png", "notes.txt", "é.png"]


def test_compressed_entries_are_frames_that_are_not_seen() -> None:
    entries = [Entry("part0/1.png", True), Entry("part0/2.png", False)]
    assert len(frames_of(ROW, entries)) == 2
    assert part_seen(ROW, entries) == PartSeen(ROW, ("part0/2.png",))


def test_a_part_with_frames_plays_and_one_without_or_with_odd_numbers_does_not() -> None:
    assert PartSeen(ROW, ("a", "b")).played == PlayedPart("p", 1, 15, 2)
    assert PartSeen(ROW, ()).played is None
    assert PartSeen(Row("p", -1, 0, "part0"), ("a",)).played is None
    assert PartSeen(Row("p", 1, -1, "part0"), ("a",)).played is None
