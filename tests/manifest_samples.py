"""The shortest manifest, and the reasons why another one is refused."""

from __future__ import annotations

import pytest

from keyturn.manifest import reading
from keyturn.shop.reasons import Reason, Refused

LEAST = b'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\n'


def refused(data: bytes) -> dict[str, Reason]:
    """Return the reasons why this manifest is refused, by their fields."""
    with pytest.raises(Refused) as caught:
        reading.parse(data)
    return {str(reason.field): reason for reason in caught.value.reasons}
