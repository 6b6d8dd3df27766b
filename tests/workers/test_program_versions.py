"""What of the program and its libraries decides a frame's bytes."""

from __future__ import annotations

from importlib import metadata
from pathlib import Path

import grimp
import numpy
import PIL
import pytest

import keyturn
from keyturn.package.kept_tasks import KEPT_TASKS
from keyturn.workers import program_versions
from keyturn.workers.program_versions import FOLDERS, LIBRARIES, code_digest, program, versions


def test_the_versions_are_those_that_the_libraries_state() -> None:
    found = versions()
    assert (found["numpy"], found["pillow"]) == (numpy.__version__, PIL.__version__)


@pytest.mark.parametrize("library", LIBRARIES)
def test_each_version_is_what_python_says_of_the_package(library: str) -> None:
    """Against importlib.metadata."""
    assert versions()[library] == metadata.version(library)


def test_a_package_that_is_not_installed_has_none() -> None:
    assert program_versions._version("no-such-package-of-lamps") == "none"


def test_all_that_the_tasks_import_is_in_the_digest() -> None:
    """Which modules those are says grimp, the library beneath import-linter."""
    graph = grimp.build_graph("keyturn")
    needed = {task.task.__module__ for task in KEPT_TASKS}
    for module in list(needed):
        needed |= graph.find_upstream_modules(module)
    folders = {module.split(".")[1] for module in needed if "." in module}
    assert folders - set(FOLDERS) <= {"workers"}  # how work is handed on changes no result


def test_machines_of_a_cluster_must_have_the_code_that_hands_on_work_as_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "workers").mkdir()
    module = tmp_path / "workers" / "remote_job.py"
    monkeypatch.setattr(keyturn, "__file__", str(tmp_path / "__init__.py"))
    seen = []
    for line in ("KEPT = 1", "KEPT = 2"):
        module.write_text(line)
        program.cache_clear()
        seen.append(dict(program()))
    program.cache_clear()
    assert [key for key in seen[0] if seen[0][key] != seen[1][key]] == ["Keyturn's own code"]


def test_a_changed_line_a_new_file_and_another_library_change_the_digest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "png").mkdir()
    module = tmp_path / "png" / "deflate.py"
    module.write_text("LEVEL = 6\n")
    monkeypatch.setattr(keyturn, "__file__", str(tmp_path / "__init__.py"))

    def digest() -> bytes:
        code_digest.cache_clear()
        return code_digest()

    seen = [digest()]
    assert digest() == seen[0]
    module.write_text("LEVEL = 7\n")
    seen.append(digest())
    (tmp_path / "png" / "shades.dat").write_bytes(b"\1")
    seen.append(digest())
    monkeypatch.setattr(program_versions, "versions", lambda: {"pillow": "99"})
    seen.append(digest())
    code_digest.cache_clear()
    assert len(set(seen)) == len(seen)
