"""Kinds by their first bytes, and the endings of their names."""

from __future__ import annotations

import gzip
import io

import pytest
from PIL import Image

from keyturn.normalize.reading import kinds
from keyturn.shop import rulebook


def test_kinds_are_told_by_brands() -> None:
    """ISO/IEC 23008-12 (heic, mif1) and the AV1 image file format: mif1 alone says nothing, its companions do."""
    assert kinds.of(b"\0\0\0\x1cftypheic\0\0\0\0mif1heic") == "HEIC"
    assert kinds.of(b"\0\0\0\x1cftypmif1\0\0\0\0mif1heic") == "HEIC"
    assert kinds.of(b"\0\0\0\x1cftypmif1\0\0\0\0mif1miafavif") == "AVIF"
    assert kinds.of(b"\0\0\0\x14ftypqt  \0\0\0\0qt  ") == "MOV"
    assert kinds.of(b"\0\0\0\x14ftypisom\0\0\0\0isom") == "MP4"
    assert kinds.of(b"over the wide hill") == ""


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "BMP", "TIFF", "GIF", "AVIF"])
def test_pillows_files_are_known_by_their_first_bytes(kind: str) -> None:
    file = io.BytesIO()
    Image.new("RGB", (3, 4)).save(file, kind)
    assert kinds.of(file.getvalue()[:512]) == kind


def test_every_kind_of_the_rules_has_its_endings() -> None:
    formats = rulebook.load().intake.formats
    assert {*formats.stills, *formats.clips} == kinds.ENDINGS.keys()


def test_pillow_gives_its_kinds_the_same_endings() -> None:
    """Pillow's own table, for the kinds that it reads itself."""
    known = Image.registered_extensions()
    for kind in ("PNG", "JPEG", "WEBP", "BMP", "TIFF", "GIF", "AVIF", "PSD", "TGA", "ICO", "PPM", "JPEG2000", "QOI"):
        named = {ending for ending in kinds.ENDINGS[kind] if ending in known}
        assert named and {known[ending] for ending in named} <= {kind, "DIB", "MPO"}


def test_endings_of_art_are_those_of_all_kinds() -> None:
    assert {ending for endings in kinds.ENDINGS.values() for ending in endings} == kinds.ART_ENDINGS
    assert all(ending == ending.lower() and ending.startswith(".") for ending in kinds.ART_ENDINGS)


def test_a_packed_drawing_is_known_and_other_packed_files_are_not() -> None:
    """SVG 1.1, appendix "Media type": a drawing may be packed with gzip."""
    drawing = b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 3 4"/>'
    assert kinds.of(gzip.compress(drawing)) == "SVG"
    assert kinds.of(gzip.compress(b"over the wide hill")) == "a packed file (gzip)"
    assert kinds.of(b"\x1f\x8b\x08") == kinds.of(b"\x1f\x8b and so on") == "a packed file (gzip)"


def test_a_letter_that_begins_as_a_bitmap_is_none_unless_it_is_called_one() -> None:
    assert kinds.told("wishes.txt", b"BM" + b"blue lamps, please") == ""
    assert kinds.told("0001.bmp", b"BM" + b"blue lamps, please") == "BMP"
