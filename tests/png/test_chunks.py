"""The walk through a PNG's chunks, against a file put together by the letter of the specification."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from PIL import Image, PngImagePlugin

from keyturn.png import chunks
from keyturn.png.chunks import PNG_SIGNATURE, Chunk

CONTENTS = [(b"IHDR", bytes(13)), (b"tEXt", b"Comment\0fern"), (b"IDAT", b""), (b"IEND", b"")]


def by_the_letter(kind: bytes, content: bytes) -> bytes:
    """PNG specification, 5.3: the checksum covers type and content, not the length."""
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


FILE = PNG_SIGNATURE + b"".join(by_the_letter(kind, content) for kind, content in CONTENTS)


def walked(data: bytes) -> list[Chunk]:
    return list(chunks.walk(io.BytesIO(data)))


def test_every_chunk_is_found_with_the_place_of_its_content() -> None:
    found = walked(FILE)
    assert [(c.kind, FILE[c.start : c.stop]) for c in found] == CONTENTS
    assert [c.end for c in found[:-1]] == [c.start - 8 for c in found[1:]] and found[-1].end == len(FILE)


def test_pillow_finds_the_same_chunks() -> None:
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", "the van at dusk")
    file = io.BytesIO()
    Image.effect_noise((300, 200), 60).save(file, "PNG", pnginfo=text, dpi=(72, 72))
    reader = PngImagePlugin.ChunkStream(file)
    file.seek(8)
    wanted = []
    for _ in range(100):
        kind, start, length = reader.read()
        wanted.append(Chunk(kind, start, length))
        if kind == b"IEND":
            break
        file.seek(start + length + 4)
    assert walked(file.getvalue()) == wanted and {c.kind for c in wanted} >= {b"IDAT", b"tEXt", b"pHYs"}


def test_the_file_stands_at_the_content_and_may_be_moved() -> None:
    file = io.BytesIO(FILE)
    read = []
    for chunk in chunks.walk(file):
        read.append((chunk.kind, file.read(chunk.length)))
        file.seek(0)
    assert read == CONTENTS


@pytest.mark.parametrize("cut", range(1, 12))
def test_a_chunk_that_breaks_off_is_told_as_the_file_states_it(cut: int) -> None:
    """The last chunk, IEND, has 12 bytes: with its length and type whole it is told, without them it is not."""
    found = walked(FILE[:-cut])
    assert len(found) == (4 if cut <= 4 else 3)
    assert (found[-1].end > len(FILE) - cut) == (cut <= 4)


def test_a_length_beyond_the_file_ends_the_walk_after_that_chunk() -> None:
    long = PNG_SIGNATURE + struct.pack(">I", 2**32 - 1) + b"IDAT" + bytes(40)
    assert walked(long) == [Chunk(b"IDAT", 16, 2**32 - 1)]


def test_chunks_behind_iend_are_told_too() -> None:
    assert [c.kind for c in walked(FILE + by_the_letter(b"abCd", b"x"))][-2:] == [b"IEND", b"abCd"]


@pytest.mark.parametrize("data", [b"", PNG_SIGNATURE, PNG_SIGNATURE + b"\0\0\0"])
def test_a_file_without_chunks_has_none(data: bytes) -> None:
    assert not walked(data)


def test_a_written_chunk_is_as_the_specification_says() -> None:
    for kind, content in CONTENTS:
        assert chunks.written(kind, content) == by_the_letter(kind, content)
