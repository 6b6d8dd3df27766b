"""Each kind of value takes what the artist may write and nothing else."""

from __future__ import annotations

import pytest

from keyturn.manifest import reading
from keyturn.shop.reasons import Reason, Refused

LEAST = b'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\n'


def refused(data: bytes) -> dict[str, Reason]:
    with pytest.raises(Refused) as caught:
        reading.parse(data)
    return {str(r.field): r for r in caught.value.reasons}


@pytest.mark.parametrize("art", ["../secret.png", "/etc/passwd", "a\\\\b.png", "**/*.png"])
def test_art_stays_inside_the_drop(art: str) -> None:
    assert "part.1.art" in refused(LEAST + f'[[part]]\nart = "{art}"\n'.encode())
