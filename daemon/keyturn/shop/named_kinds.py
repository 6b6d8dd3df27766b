"""Kinds of files that are not taken, told by ending and first bytes, each with the way to a picture that is.

They stand in rules/kinds.toml, which a shop can add to.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from functools import cached_property
from pathlib import PurePosixPath
from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from keyturn.shop.rule_table import Rule, Sourced

START_BYTES = 512
"""Bytes from a file's start that tell its kind."""

Ending = Annotated[str, StringConstraints(pattern=r"^\.[a-z0-9][a-z0-9_+-]*$")]
Words = Annotated[str, StringConstraints(min_length=3, max_length=160)]


class NamedKind(Rule):
    """One kind. `what` completes "is ...", `way_out` says what the artist does instead.

    A letter of `starts` is one byte of the file (Latin-1), and `?` any byte. `art`: each such file stands for a picture
    or film, so one among the frames is refused; other files are only mentioned where other art makes the job.
    `packed`: an archive, which may hold a whole drop.
    """

    what: Words
    way_out: Words
    endings: tuple[Ending, ...] = ()
    starts: tuple[Annotated[str, StringConstraints(min_length=2, max_length=64)], ...] = ()
    art: bool = False
    packed: bool = False

    @model_validator(mode="after")
    def _can_be_told(self) -> Self:
        if not self.endings and not self.starts:
            raise ValueError("needs endings or starts, else no file is known by it")
        if bad := [start for start in self.starts if not start.isascii() and max(map(ord, start)) > 255]:
            raise ValueError(f"starts has letters that are no bytes: {bad[0]!r}")
        if bad := [start for start in self.starts if not start.strip("?")]:
            raise ValueError(f"starts fits every file: {bad[0]!r}")
        return self

    @cached_property
    def _start(self) -> re.Pattern[bytes]:
        each = (b"".join(b"." if c == "?" else re.escape(c.encode("latin-1")) for c in start) for start in self.starts)
        return re.compile(b"|".join(each), re.DOTALL)

    def begins(self, start: bytes) -> bool:
        return bool(self.starts) and self._start.match(start) is not None


class NamedKinds(Sourced):
    """The table, by a short key that a shop's own file may use to replace an entry."""

    kind: Mapping[str, NamedKind] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _one_kind_an_ending(self) -> Self:
        counts = Counter(ending for kind in self.kind.values() for ending in kind.endings)
        if doubled := sorted(ending for ending, count in counts.items() if count > 1):
            raise ValueError(f"{doubled[0]} stands in two kinds: take it out of one")
        return self

    @cached_property
    def _by_ending(self) -> dict[str, NamedKind]:
        return {ending: kind for kind in self.kind.values() for ending in kind.endings}

    def surely(self, name: str, start: bytes) -> NamedKind | None:
        """Return the kind whose ending and first bytes the file has, else None.

        The bytes alone would not do: a camera's raw file begins as a TIFF does.
        """
        named = self._by_ending.get(PurePosixPath(name).suffix.lower())
        return named if named and named.begins(start) else None

    def of(self, name: str, start: bytes) -> NamedKind | None:
        """Return the kind of a file, None where it has none of them.

        The ending and the first bytes are best. An ending will do whose kind has no bytes of its own; then bytes alone;
        then an ending that the bytes do not fit.
        """
        named = self._by_ending.get(PurePosixPath(name).suffix.lower())
        if named and (not named.starts or named.begins(start)):
            return named
        return next((kind for kind in self.kind.values() if kind.begins(start)), named)


NO_KINDS = NamedKinds(source="where no table is asked for")
"""Names nothing."""
