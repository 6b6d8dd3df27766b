"""What every JSON record has in common: keys it does not know are left out, and its numbers are such as can be used."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import BaseModel, ConfigDict, model_validator

LARGEST = 2**53
"""Largest whole number of a record: JSON's numbers are exact up to it (RFC 8259, section 6), and SQLite holds it."""


class Record(BaseModel):
    """One JSON object. Keys that are not known here are left out, so that a newer Keyturn's file can be read."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)

    @model_validator(mode="after")
    def _numbers_of_use(self) -> Record:
        for value in self.__dict__.values():
            if any(abs(number) > LARGEST for number in _whole_numbers(value)):
                raise ValueError(f"a whole number is beyond {LARGEST}")
        return self


def _whole_numbers(value: object) -> Iterator[int]:
    """Yield the whole numbers of a field, those in tuples too."""
    if isinstance(value, int):
        yield value
    elif isinstance(value, tuple):
        for each in value:
            yield from _whole_numbers(each)
