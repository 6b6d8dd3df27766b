"""The sections of a PSD: what garbage in their lengths leads to."""

from __future__ import annotations

import io
import random
import struct

import pytest

from keyturn.normalize.reading import psd_sections
from keyturn.normalize.reading.picture_faults import Broken
from normalize.reading.test_layered import psd, ramps


def test_the_sections_are_found() -> None:
    data = psd(ramps(3), layers=2)
    found = psd_sections.read(io.BytesIO(data), (1057,))
    assert (found.header.size, found.header.channels, found.layers) == ((30, 20), 3, 2)
    assert found.resources.keys() == {1057} and len(data) - found.picture_at == 2 + 3 * 600


def test_lengths_that_lead_out_of_the_file_are_broken() -> None:
    data = psd(ramps(3), layers=2)
    for at in (26, 30):
        with pytest.raises(Broken):
            psd_sections.read(io.BytesIO(data[:at] + struct.pack(">I", 1 << 31) + data[at + 4 :]), (1057,))


def test_flipped_bits_are_read_or_broken() -> None:
    dice, data = random.Random(20260301), psd(ramps(3), layers=-2)
    for _ in range(400):
        hurt = bytearray(data)
        hurt[dice.randrange(120)] ^= 1 << dice.randrange(8)
        try:
            found = psd_sections.read(io.BytesIO(bytes(hurt)), (1039, 1057))
            psd_sections.picture(io.BytesIO(bytes(hurt)), found, 3)
        except (Broken, ValueError):
            continue
