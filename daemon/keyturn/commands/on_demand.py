"""Commands that are imported when one is called, so that none waits for the imports of another."""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping, Sequence
from importlib import import_module
from typing import Any, ClassVar

import typer
from typer.core import TyperGroup


class OnDemand(MutableMapping[str, Any]):
    """Typer's commands by name. Command `x` is the function, or the group, `x` of the module `keyturn.commands.x`."""

    def __init__(self, names: Sequence[str]) -> None:
        self._made: dict[str, Any] = dict.fromkeys(names)

    def __getitem__(self, name: str) -> Any:
        if self._made[name] is None:
            self._made[name] = _command(getattr(import_module(f"keyturn.commands.{name}"), name))
        return self._made[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._made[name] = command

    def __delitem__(self, name: str) -> None:
        del self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._made)

    def __len__(self) -> int:
        return len(self._made)


class CommandGroup(TyperGroup):
    """The program's own group: its help imports every command for its line, a call imports one."""

    names: ClassVar[Sequence[str]] = ()

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.commands = OnDemand(self.names)


def _command(found: Any) -> Any:
    if isinstance(found, typer.Typer):
        return typer.main.get_command(found)
    alone = typer.Typer(add_completion=False, rich_markup_mode="markdown", pretty_exceptions_enable=False)
    alone.command()(found)
    return typer.main.get_command(alone)
