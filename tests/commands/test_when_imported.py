"""A library is set up once it is imported, and is not imported for that."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from keyturn.commands.when_imported import when_imported


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The name of a module that nobody has imported yet."""
    (tmp_path / "lamp_library.py").write_text("lit = False\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    finders = list(sys.meta_path)
    yield "lamp_library"
    sys.meta_path[:] = finders
    sys.modules.pop("lamp_library", None)


def test_it_is_set_up_at_the_end_of_its_import_once(library: str) -> None:
    seen: list[bool] = []
    when_imported(library, lambda: seen.append(sys.modules[library].lit))
    assert library not in sys.modules and not seen
    from lamp_library import lit

    assert seen == [lit] == [False]
    import lamp_library

    assert lamp_library.lit is False and len(seen) == 1


def test_set_up_may_import_from_it(library: str) -> None:
    seen: list[bool] = []

    def set_up() -> None:
        from lamp_library import lit

        seen.append(lit)

    when_imported(library, set_up)
    __import__(library)
    assert seen == [False]


def test_what_is_imported_already_is_set_up_at_once(library: str) -> None:
    __import__(library)
    seen: list[str] = []
    when_imported(library, lambda: seen.append(library))
    assert seen == [library]


def test_other_imports_and_a_library_that_is_missing_are_as_before(library: str) -> None:
    seen: list[str] = []
    when_imported("no_such_lamp_library", lambda: seen.append("set up"))
    __import__(library)
    with pytest.raises(ModuleNotFoundError, match="no_such_lamp_library"):
        __import__("no_such_lamp_library")
    assert not seen
