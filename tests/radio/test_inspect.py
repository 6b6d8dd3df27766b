"""What a radio would make of an archive as a whole."""

from dataclasses import replace

import pytest

from keyturn.radio.archive import Entry
from keyturn.radio.inspect import look
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind
from radio.archives import DESC, RADIOS, TALL, codes, frame, good


@pytest.mark.parametrize("radio", [None, TALL])
def test_a_good_archive_has_no_reasons(radio: Radio | None) -> None:
    verdict = look(good(), DESC, radio)
    assert verdict.reasons == ()
    assert [part.played for part in verdict.parts] == [PlayedPart("p", 1, 15, 12), PlayedPart("p", 0, 0, 1)]
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
    assert codes(look([*good(), good()[5]], DESC)) == ["entry-doubled"]


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
    assert codes(found) == ["panel-size", "fps-not-trusted", "type-not-known", "colour-not-known"]
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
