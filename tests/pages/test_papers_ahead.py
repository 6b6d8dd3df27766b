"""Card and sheet find ready what they need, and are written all the same where it could not be made ready."""

from __future__ import annotations

import subprocess
import sys
from types import ModuleType

import pytest

from keyturn.pages import render
from keyturn.pages.card import card
from keyturn.pages.papers_ahead import TEMPLATES, papers_ahead
from keyturn.shop import rulebook


def loaded(language: str) -> set[str]:
    """Return the templates that have been read in this language."""
    return {name for _, name in list(render._environment(language).cache or ())}


@pytest.fixture(autouse=True)
def nothing_read() -> None:
    render._environment.cache_clear()


def test_all_templates_of_card_and_sheet_are_read_ahead_and_no_other(by_hand: ModuleType) -> None:
    card(by_hand.job(), by_hand.radio(), rulebook.load().radios["tall-768x1024"], by_hand.CAUTIONS)
    by_hand.sheet_of(by_hand.job())
    assert loaded("en") == set(TEMPLATES)


def test_they_are_read_in_each_language_of_the_papers() -> None:
    with papers_ahead(["en", "de", "de"]):
        pass
    assert loaded("en") == loaded("de") == set(TEMPLATES)


def test_a_fault_is_left_to_whoever_writes_the_papers(monkeypatch: pytest.MonkeyPatch, by_hand: ModuleType) -> None:
    def fails(*ignored: object) -> None:
        raise OSError("the disk fails")

    with monkeypatch.context() as failing:
        failing.setattr(render, "make_ready", fails)
        with papers_ahead(["en"]):
            pass
    assert by_hand.sheet_of(by_hand.job())


def test_a_command_that_makes_frames_begins_without_pages() -> None:
    code = "import sys, keyturn.commands.make; print(*{'jinja2', 'babel', 'keyturn.pages.sheet'} & set(sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "\n"
