"""What the tests of calibration share: the shipped radios, one of each pacing, and a day."""

from __future__ import annotations

from datetime import date

from keyturn.shop import rulebook
from keyturn.shop.radio_profile import Radio

RADIOS = rulebook.load().radios
ADDITIVE, FIXED = RADIOS["tall-768x1024"], RADIOS["wide-1280x720"]
DAY = date(2026, 3, 1)


def changed(radio: Radio, table: str, **values: object) -> Radio:
    """Return the radio with other values in one of its tables."""
    return radio.model_copy(update={table: getattr(radio, table).model_copy(update=values)})
