"""What all tables of the rules' files have in common."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Rule(BaseModel):
    """A table of a rules file. Keys that are not known are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class Sourced(Rule):
    """A table that says where its figures come from."""

    source: Annotated[str, Field(min_length=3)]
