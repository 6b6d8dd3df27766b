"""Templates are compiled once for a user, and never from what somebody else may have written."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import jinja2
import pytest

from keyturn.pages import compiled_templates
from keyturn.pages.compiled_templates import CompiledTemplates

Rendering = Callable[[], str]

TEMPLATE = "{% for name in names %}<p>{{ name }}</p>{% endfor %}"
PAGE = "<p>Ines</p><p>Marta</p>"


@pytest.fixture
def compiled(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the templates that Jinja2 has compiled so far."""
    names: list[str] = []
    compile_one = jinja2.Environment.compile

    def compile_noted(self: jinja2.Environment, source: object, name: str, *more: object) -> object:
        names.append(name)
        return compile_one(self, source, name, *more)  # type: ignore[call-overload]

    monkeypatch.setattr(jinja2.Environment, "compile", compile_noted)
    return names


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "pages"


@pytest.fixture
def rendered(tmp_path: Path, folder: Path) -> Rendering:
    """A function that makes the page anew, as a new process does."""
    template = tmp_path / "page.html"
    template.write_text(TEMPLATE)

    def render() -> str:
        loader = jinja2.FileSystemLoader(tmp_path)
        environment = jinja2.Environment(loader=loader, bytecode_cache=CompiledTemplates(folder))
        return environment.get_template("page.html").render(names=["Ines", "Marta"])

    return render


def entries(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_a_template_is_compiled_once(rendered: Rendering, compiled: list[str]) -> None:
    assert rendered() == rendered() == PAGE
    assert compiled == ["page.html"]


def test_a_changed_template_is_compiled_anew(rendered: Rendering, compiled: list[str], tmp_path: Path) -> None:
    rendered()
    (tmp_path / "page.html").write_text("{{ names | length }}")
    assert rendered() == "2"
    assert len(compiled) == 2


@pytest.mark.parametrize(
    ("module", "name", "value"),
    [
        (jinja2, "__version__", "99.0"),
        (compiled_templates, "__version__", "99.0"),
        (compiled_templates, "MAGIC_NUMBER", b"99\r\n"),
    ],
    ids=["jinja2", "keyturn", "python"],
)
def test_nothing_of_another_version_is_used(
    rendered: Rendering, compiled: list[str], monkeypatch: pytest.MonkeyPatch, module: object, name: str, value: object
) -> None:
    rendered()
    monkeypatch.setattr(module, name, value)
    assert rendered() == PAGE
    assert len(compiled) == 2


@pytest.mark.parametrize("kept_bytes", [0, 20, 200])
def test_a_torn_entry_is_made_again(rendered: Rendering, compiled: list[str], folder: Path, kept_bytes: int) -> None:
    rendered()
    (entry,) = entries(folder)
    whole = entry.read_bytes()
    entry.write_bytes(whole[:kept_bytes])
    assert rendered() == PAGE
    assert entry.read_bytes() == whole and len(compiled) == 2


@pytest.mark.parametrize("mode", [0o770, 0o707])
def test_a_folder_that_others_may_write_is_not_used(
    rendered: Rendering, compiled: list[str], folder: Path, mode: int
) -> None:
    rendered()
    (entry,) = entries(folder)
    entry.unlink()
    folder.chmod(mode)
    assert rendered() == rendered() == PAGE
    assert len(compiled) == 3 and not entries(folder)


def test_a_folder_behind_a_link_is_not_used(rendered: Rendering, folder: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    folder.parent.mkdir()
    folder.symlink_to(tmp_path / "elsewhere")
    assert rendered() == PAGE
    assert not entries(tmp_path / "elsewhere")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a folder away")
def test_another_users_folder_is_not_used(rendered: Rendering, compiled: list[str], folder: Path) -> None:
    rendered()
    os.chown(folder, 12345, 12345)
    assert rendered() == PAGE
    assert len(compiled) == 2


def test_where_nothing_can_be_kept_the_page_is_made_all_the_same(rendered: Rendering, folder: Path) -> None:
    folder.parent.write_text("a file where a folder should be")
    assert rendered() == rendered() == PAGE


def test_two_processes_at_once_make_the_same_page(tmp_path: Path) -> None:
    code = "from keyturn.pages import render; print(len(render._environment('en').get_template('base.html.j2').blocks))"
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path)}
    command = [sys.executable, "-c", code]
    both = [subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    said = [process.communicate()[0] for process in both]
    assert said[0] == said[1] != ""
    assert len(entries(tmp_path / "keyturn" / "pages")) == 1


def test_a_user_without_a_home_keeps_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiled_templates, "user_cache", lambda: None)
    assert compiled_templates.compiled_templates() is None
