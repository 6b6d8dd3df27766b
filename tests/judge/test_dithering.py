"""The note on pictures that were dithered."""

from __future__ import annotations

from keyturn.judge.dithering import dithering_reasons

BANDING = [(0.4, 0.1), (0.2, 0.0)]


def test_a_panel_of_16_bit_colour_says_what_dithering_did_on_average() -> None:
    (reason,) = dithering_reasons(BANDING, 16)
    assert reason.code == "dithered" and "from 0.30 to 0.05" in reason.what
    assert dithering_reasons(BANDING, 24) == []
