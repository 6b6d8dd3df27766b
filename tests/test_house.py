"""The shape of the package: its folders and their order, the length of its modules, its names, its tests."""

from __future__ import annotations

import ast
import re
import tomllib
from collections import Counter
from pathlib import Path

CHECKOUT = Path(__file__).parents[1]
PACKAGE = CHECKOUT / "daemon" / "keyturn"
LINKS = {"rules", "sample_inbox", "systemd"}
"""Links to folders at the repository's top."""

MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p.relative_to(PACKAGE).parts[0] not in LINKS)
MOST_LINES = 300
MOST_ENTRIES = 18
"""Folders and modules at the package's top, without dunder files and the links to rules and samples."""

NO_TESTS_OF_ITS_OWN: dict[str, str] = {}
"""Modules without a test file of their name, each with the reason."""


def layers() -> list[str]:
    """Return the layers that import-linter holds, from top to bottom, below the console command's own file."""
    config = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
    (contract,) = [c for c in config["tool"]["importlinter"]["contracts"] if c["type"] == "layers"]
    first, *below = contract["layers"]
    assert first == "__main__"
    return below


def top() -> set[str]:
    """Return the folders and modules at the package's top."""
    found = {p.stem for p in PACKAGE.iterdir() if p.is_dir() or p.suffix == ".py"}
    return {name for name in found if not name.startswith("__")} - LINKS


def test_developers_are_told_the_order_that_import_linter_holds() -> None:
    text = (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = re.search(r"^## The house$.*?^```\w*\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    assert block, "DEVELOPERS.md has no list in a fence below the heading 'The house'"
    assert [line.split()[0] for line in block[1].splitlines() if line.strip()] == layers()


def test_every_folder_and_module_at_the_top_is_a_layer() -> None:
    assert top() == set(layers())
    assert len(top()) <= MOST_ENTRIES


def test_every_module_stays_short() -> None:
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert len(lengths) > 100, "the package was not found"
    assert {str(path.relative_to(PACKAGE)): n for path, n in lengths.items() if n > MOST_LINES} == {}


def test_no_class_name_stands_twice() -> None:
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in MODULES]
    names = Counter(node.name for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ClassDef))
    assert [name for name, count in names.items() if count > 1] == []


def test_every_module_has_a_test_file_of_its_name() -> None:
    modules = {str(p.relative_to(PACKAGE)) for p in MODULES if not p.name.startswith("__")}
    tests = {str(p.relative_to(CHECKOUT / "tests")) for p in (CHECKOUT / "tests").rglob("test_*.py")}
    without = {m for m in modules if str(Path(m).with_name(f"test_{Path(m).name}")) not in tests}
    assert without == set(NO_TESTS_OF_ITS_OWN)
