"""JPEG frames and WebP thumbnails, read back by their specifications and by Pillow."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from keyturn.package import jpeg_and_webp
from stage_fixtures import SIZE, arts, loaded_with_metadata


def test_jpeg_is_baseline_full_colour_and_bare() -> None:
    data = jpeg_and_webp.jpeg(loaded_with_metadata(arts()["drawn"]))
    markers = segments(data)
    # ITU-T T.81, table B.1: C0 is the baseline frame; E1, E2 and FE would be EXIF, a profile and a comment.
    assert 0xC0 in markers and not set(markers) & {0xC1, 0xC2, 0xE1, 0xE2, 0xFE}
    frame = markers[0xC0]
    assert [frame[7 + 3 * i] for i in range(3)] == [0x11] * 3  # sampling 1 x 1 of each component: 4:4:4
    apart = np.asarray(Image.open(io.BytesIO(data))).astype(int) - np.asarray(arts()["drawn"])
    assert np.abs(apart).mean() < 1.5
    assert data == jpeg_and_webp.jpeg(arts()["drawn"])
    assert len(jpeg_and_webp.jpeg(arts()["grain"], quality=60)) < len(jpeg_and_webp.jpeg(arts()["grain"]))


def segments(data: bytes) -> dict[int, bytes]:
    """Marker segments up to the start of the scan (ITU-T T.81, annex B)."""
    found, at = {}, 2
    while data[at + 1] != 0xDA:
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        found[data[at + 1]] = data[at + 4 : at + 2 + length]
        at += 2 + length
    return found


def test_thumbnails_keep_their_shape_and_never_grow() -> None:
    for source, wanted in [((768, 1024), (90, 120)), ((1024, 600), (120, 70)), ((60, 40), (60, 40))]:
        small = Image.open(io.BytesIO(jpeg_and_webp.thumbnail(Image.new("RGB", source, (200, 30, 30)), 120)))
        assert (small.format, small.size) == ("WEBP", wanted)
        assert np.abs(np.asarray(small.convert("RGB"))[5, 5].astype(int) - (200, 30, 30)).max() < 8
    image = loaded_with_metadata(arts()["glow"])
    data = jpeg_and_webp.thumbnail(image, 64)
    assert image.size == SIZE and not {b"EXIF", b"ICCP", b"XMP "} & {data[i : i + 4] for i in range(len(data))}


def test_only_finished_frames_are_taken() -> None:
    for mode in ("RGBA", "L", "P", "CMYK"):
        for write in (jpeg_and_webp.jpeg, lambda image: jpeg_and_webp.thumbnail(image, 20)):
            with pytest.raises(ValueError, match="is RGB, not"):
                write(Image.new(mode, (8, 8)))
