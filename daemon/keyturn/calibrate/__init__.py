"""Calibration: a stick whose animation counts, and what the shop learns from filmed starts of a radio."""

from keyturn.calibrate.profile import Stored, store, store_told
from keyturn.calibrate.reading import Interval, Learnt, learn, read, spread_values
from keyturn.calibrate.report import describe
from keyturn.calibrate.stick import make_stick, steps

__all__ = [
    "Interval",
    "Learnt",
    "Stored",
    "describe",
    "learn",
    "make_stick",
    "read",
    "spread_values",
    "steps",
    "store",
    "store_told",
]
