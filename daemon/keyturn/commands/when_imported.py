"""Set a library up once something imports it, so that no command waits for a library that it does not use."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import find_spec
from types import ModuleType


def when_imported(name: str, set_up: Callable[[], None]) -> None:
    """Call `set_up` at once where the module `name` is imported already, else at the end of its import."""
    if name in sys.modules:
        set_up()
    else:
        sys.meta_path.insert(0, _Finder(name, set_up))


class _Finder(MetaPathFinder):
    """Stands before Python's own finders until the module is asked for (importlib, "Setting up an importer")."""

    def __init__(self, name: str, set_up: Callable[[], None]) -> None:
        self._name, self._set_up = name, set_up

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return the module's own spec, whose loader sets it up too; None for every other module."""
        if fullname != self._name:
            return None
        sys.meta_path.remove(self)
        spec = find_spec(fullname)
        if spec is not None and spec.loader is not None:
            execute = spec.loader.exec_module

            def execute_and_set_up(module: ModuleType) -> None:
                execute(module)
                self._set_up()

            spec.loader.exec_module = execute_and_set_up  # type: ignore[method-assign]
        return spec
