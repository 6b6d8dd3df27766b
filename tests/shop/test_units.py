"""Sizes as people read them."""

from __future__ import annotations

import pytest

from keyturn.shop.units import KIB, MIB, readable_size


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (0, "0 KiB"),
        (1024, "1 KiB"),
        (104_857, "102 KiB"),  # 2^20 / 10 is 104,857.6
        (104_858, "0.1 MiB"),
        (3 * 1024 * 1024, "3.0 MiB"),
        (9_437_184, "9.0 MiB"),
        (62.5 * 1024 * 1024, "62.5 MiB"),
        (4_831_838_208, "4608.0 MiB"),
    ],
)
def test_sizes_are_binary_multiples(size: float, words: str) -> None:
    # IEC 80000-13: 1 KiB = 1024 bytes, 1 MiB = 1024 KiB
    assert readable_size(size) == words


def test_the_multiples_are_those_of_the_standard() -> None:
    assert (KIB, MIB) == (1024, 1024 * 1024)  # IEC 80000-13
