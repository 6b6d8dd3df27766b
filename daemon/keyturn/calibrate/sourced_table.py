"""A table of a radio's profile in which each line says from where it is known."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import tomlkit


@dataclass(slots=True)
class SourcedTable:
    """A table of a profile, each key with its value and how that is known: "seen ...", or "guessed ...".

    `guess` says from where what was not seen is guessed, `told` what was seen and has no key of its own.
    """

    guess: str
    told: str = ""
    lines: list[tuple[str, Any, str]] = field(default_factory=list)

    def add(self, key: str, value: Any, how: str) -> None:
        """Add a key of which is known `how` it came to its value."""
        self.lines.append((key, value, how))

    def guessed(self, key: str, value: Any) -> None:
        """Add a key whose value is guessed from where the table's guesses are."""
        self.add(key, value, self.guess)

    @property
    def source(self) -> str:
        """What was seen, then from where the other keys were guessed. With one guess for all, that guess alone."""
        seen = dict.fromkeys(how.partition(":")[0] for _, _, how in self.lines if how.startswith("seen"))
        guesses: dict[str, list[str]] = {}
        for key, _, how in self.lines:
            if how.startswith("guessed"):
                guesses.setdefault(how, []).append(key)
        if not seen and not self.told and len(guesses) <= 1:
            return self.guess
        return "; ".join(
            [*filter(None, [self.told]), *seen, *(f"{guess} ({', '.join(keys)})" for guess, keys in guesses.items())]
        )

    def toml(self) -> Any:
        """Return the table for tomlkit, with a comment at the end of each line; of long lists `source` tells."""
        table = tomlkit.table()
        table["source"] = self.source
        for key, value, how in self.lines:
            item: Any = tomlkit.item(value)
            if isinstance(value, list) and value and len(str(value)) > 100:
                item.multiline(True)
            else:
                item.comment(how)
            table.add(key, item)
        return table
