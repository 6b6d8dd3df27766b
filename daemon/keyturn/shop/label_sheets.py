"""Sheets of labels, as rules/labels.toml has them. Lengths are in mm."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import Field, model_validator

from keyturn.shop.rule_table import Rule, Sourced

ROUNDING_MM = 0.05
"""What the figures of a sheet may come short by: they are rounded, mostly from inches."""

Length = Annotated[float, Field(ge=0, le=2000)]


class Paper(Sourced):
    """A size of paper. `usual` is the sheet that is meant by the paper's name."""

    width: Annotated[float, Field(gt=0, le=2000)]
    height: Annotated[float, Field(gt=0, le=2000)]
    usual: str


class LabelSheet(Sourced):
    """Labels in columns and rows: the size of each, where the first one lies, and the step from one to the next."""

    paper: str
    columns: Annotated[int, Field(ge=1, le=50)]
    rows: Annotated[int, Field(ge=1, le=100)]
    label: tuple[Annotated[float, Field(ge=25, le=2000)], Annotated[float, Field(ge=12, le=2000)]]
    first: tuple[Length, Length]
    step: tuple[Length, Length]

    @model_validator(mode="after")
    def _labels_lie_beside_each_other(self) -> LabelSheet:
        counts = self.columns, self.rows
        if any(
            n > 1 and step < size - ROUNDING_MM for n, step, size in zip(counts, self.step, self.label, strict=True)
        ):
            raise ValueError("step is smaller than label: the labels would lie on each other")
        return self

    @property
    def most(self) -> int:
        """How many labels a sheet has."""
        return self.columns * self.rows

    @property
    def gaps(self) -> tuple[float, float]:
        """What is free between two labels beside each other, and between two below each other."""
        return max(0.0, self.step[0] - self.label[0]), max(0.0, self.step[1] - self.label[1])

    @property
    def ends(self) -> tuple[float, float]:
        """The right and the lower edge of the last label, from the sheet's left and upper edge."""
        across = self.first[0] + (self.columns - 1) * self.step[0] + self.label[0]
        return across, self.first[1] + (self.rows - 1) * self.step[1] + self.label[1]


class Labels(Rule):
    """All sheets of labels by name. `usual` is the one that is taken where none is named."""

    usual: str
    papers: Mapping[str, Paper]
    sheets: Mapping[str, LabelSheet]

    @model_validator(mode="after")
    def _every_sheet_is_on_its_paper(self) -> Labels:
        for name, sheet in self.sheets.items():
            paper = self.papers.get(sheet.paper)
            if paper is None:
                raise ValueError(f"sheets.{name}: there is no papers.{sheet.paper}")
            if sheet.ends[0] > paper.width + ROUNDING_MM or sheet.ends[1] > paper.height + ROUNDING_MM:
                raise ValueError(f"sheets.{name}: its labels do not fit on {sheet.paper}")
        for named in (self.usual, *(paper.usual for paper in self.papers.values())):
            if named not in self.sheets:
                raise ValueError(f"there is no sheets.{named}, which is to be the usual one")
        return self

    def sheet(self, name: str | None) -> LabelSheet | None:
        """Return the sheet of that name, the usual one of the paper of that name, or without a name the usual one.

        Return None where there is neither.
        """
        paper = self.papers.get(name or "")
        return self.sheets.get(name or self.usual) or (self.sheets[paper.usual] if paper else None)
