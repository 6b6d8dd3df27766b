"""The table of kinds that are not taken: what it tells, and what is wrong in a shop's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.shop import rulebook
from keyturn.shop.named_kinds import NamedKinds
from keyturn.shop.reasons import ShopFault

KINDS = rulebook.load().kinds


def test_many_kinds_are_named_each_with_a_way_out() -> None:
    """The issue asks for at least 40."""
    assert len(KINDS.kind) >= 40
    assert all(kind.way_out[0].islower() and not kind.way_out.endswith(".") for kind in KINDS.kind.values())


@pytest.mark.parametrize(
    "name, start, what",
    [
        ("lamp.procreate", b"PK\3\4", "a Procreate file"),  # a zip inside: its ending says more
        ("LAMP.XCF", b"gimp xcf v011", "a GIMP file"),
        ("lamp", b"gimp xcf file", "a GIMP file"),
        ("lamp.ai", b"%PDF-1.6", "an Illustrator drawing (AI)"),
        ("lamp.pdf", b"%PDF-1.6", "a PDF document"),
        ("lamp.png", b"%PDF-1.6", "a PDF document"),
        ("0001.exr", b"\x76\x2f\x31\x01", "an OpenEXR picture (measured light)"),
        ("0001.png", b"\x76\x2f\x31\x01", "an OpenEXR picture (measured light)"),
        ("0001.dpx", b"XPDS", "a film scan (DPX or Cineon)"),
        ("art.rar", b"Rar!\x1a\x07\x01\0", "a RAR archive"),
        ("art.zip", b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
        ("art.tar.xz", b"\xfd7zXZ\0", "packed with xz or bzip2"),
        ("0001.png.gz", b"\x1f\x8b\x08", "packed with gzip"),
        ("van.avi", b"RIFF\x10\0\0\0AVI ", "a film of a kind that is not taken (AVI, WMV, FLV, MPEG)"),
        ("note.docx", b"PK\3\4", "a text document (Word, Pages, OpenDocument)"),
    ],
)
def test_kinds_are_told_by_ending_and_by_first_bytes(name: str, start: bytes, what: str) -> None:
    """Signatures by file(1)'s database and the formats' own descriptions."""
    found = KINDS.of(name, start)
    assert found is not None and found.what == what


def test_other_files_have_no_name() -> None:
    assert KINDS.of("readme.txt", b"Please use the blue lamps") is None
    assert KINDS.of("0001.png", b"\x89PNG\r\n\x1a\n") is None


def test_a_raw_file_is_known_although_it_is_a_tiff_inside_and_a_tiff_is_none() -> None:
    """DNG specification 1.7: a DNG is a TIFF whose first page is a small preview."""
    assert KINDS.surely("van.dng", b"II*\0\x08\0\0\0")
    assert KINDS.surely("van.tif", b"II*\0\x08\0\0\0") is None
    assert KINDS.surely("van.dng", b"\x89PNG\r\n\x1a\n") is None


def test_a_shop_adds_kinds_and_replaces_some(tmp_path: Path) -> None:
    (tmp_path / "kinds.toml").write_text(
        '[kind.lamp]\nwhat = "a lamp plan"\nway_out = "save it as PNG"\nendings = [".lamp"]\n'
        '[kind.gimp]\nway_out = "ask Ines"\n'
    )
    kinds = rulebook.load(tmp_path).kinds
    lamp, gimp = kinds.of("x.lamp", b""), kinds.of("x.xcf", b"gimp xcf ")
    assert lamp and lamp.what == "a lamp plan"
    assert gimp and (gimp.what, gimp.way_out) == ("a GIMP file", "ask Ines")


@pytest.mark.parametrize(
    "text, wrong",
    [
        ('[kind.lamp]\nwhat = "a lamp"\nway_out = "save as PNG"\n', "needs endings or starts"),
        ('[kind.lamp]\nwhat = "a lamp"\nendings = [".lamp"]\n', "way_out"),
        ('[kind.lamp]\nwhat = "a lamp"\nway_out = "save as PNG"\nendings = ["lamp"]\n', "endings.0"),
        ('[kind.lamp]\nwhat = "a lamp"\nway_out = "save as PNG"\nendings = [".xcf"]\n', ".xcf stands in two kinds"),
        ('[kind.lamp]\nwhat = "a lamp"\nway_out = "save as PNG"\nstarts = ["???"]\n', "fits every file"),
        ('[kind.lamp]\nwhat = "a lamp"\nway_out = "save as PNG"\nstarts = ["\u2318\u2318"]\n', "no bytes"),
        ('[kind.lamp]\nwhat = "a lamp"\nway_out = "save as PNG"\nstart = ["LAMP"]\n', "start"),
    ],
)
def test_what_is_wrong_in_a_shops_own_table_is_told(tmp_path: Path, text: str, wrong: str) -> None:
    (tmp_path / "kinds.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ShopFault) as caught:
        rulebook.load(tmp_path)
    assert "kinds.toml: kind" in str(caught.value) or "kinds.toml: file" in str(caught.value)
    assert wrong in str(caught.value)


def test_no_kind_has_the_ending_of_one_that_is_taken() -> None:
    from keyturn.normalize.reading import kinds

    taken = {ending for endings in kinds.ENDINGS.values() for ending in endings}
    assert not taken & {ending for kind in KINDS.kind.values() for ending in kind.endings}


def test_an_empty_table_names_nothing() -> None:
    assert NamedKinds(source="a test").of("lamp.rar", b"Rar!") is None
