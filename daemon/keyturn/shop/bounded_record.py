"""What every JSON record has in common: keys it does not know are left out, and its numbers are such as can be used.

Anything may lie under a record's name where people can write, so reading one takes bounded time and memory. pydantic
keeps about a KiB for each error: a REJECTED.json of 4 MiB, `[{},{},...]`, took 5.7 GiB and half a minute.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, model_validator
from pydantic_core import CoreSchema, core_schema

LARGEST = 2**53
"""Largest whole number of a record: JSON's numbers are exact up to it (RFC 8259, section 6), and SQLite holds it."""


MOST_VALUES = 300_000
"""Twice what a job of 2,400 frames on twelve radios has in its largest record."""

MOST_KEYS = 1000
"""The pictures of a refused drop are the one mapping, and at most a dozen."""

R = TypeVar("R", bound="Record")


def parsed(data: bytes, model: type[R]) -> R:
    """Return the record in `data`, JSON. Raise `ValueError` where it is none, or has too many values."""
    if data.count(b",") > MOST_VALUES:
        raise ValueError(f"it has more than {MOST_VALUES:,} values")
    return model.model_validate_json(data)


def _taking_one_error(schema: Any) -> Any:
    """Return a pydantic schema whose lists end at their first error, and whose mappings are small."""
    if isinstance(schema, list):
        return [_taking_one_error(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    changed = {key: _taking_one_error(value) for key, value in schema.items()}
    if changed.get("type") == "tuple":
        changed["fail_fast"] = True
    if changed.get("type") == "dict":  # these cannot end at an error
        return core_schema.no_info_before_validator_function(_with_few_keys, changed)
    return changed


def _with_few_keys(value: object) -> object:
    if isinstance(value, dict) and len(value) > MOST_KEYS:
        raise ValueError(f"a mapping has more than {MOST_KEYS} keys")
    return value


class Record(BaseModel):
    """One JSON object. Keys that are not known here are left out, so that a newer Keyturn's file can be read."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False, defer_build=True)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return _taking_one_error(handler(source))  # type: ignore[no-any-return]

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
