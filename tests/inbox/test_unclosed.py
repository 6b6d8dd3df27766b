"""A file that was written to and not closed is known by its events. Source: inotify(7)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from keyturn.inbox.survey import snapshot
from keyturn.inbox.unclosed import Unclosed
from samples import Drop


@pytest.fixture
def van(drop: Drop) -> Path:
    return drop("van")


@pytest.fixture
def unclosed(van: Path) -> Unclosed:
    made = Unclosed()
    made.watch("van", van, snapshot(van))
    return made


def test_a_file_is_unclosed_from_its_first_write_until_it_is_closed(unclosed: Unclosed, van: Path) -> None:
    assert unclosed.first("van") is None
    with (van / "lamps" / "0001.png").open("ab", buffering=0) as file:
        file.write(b"more")
        assert unclosed.first("van") == "lamps/0001.png"
        assert unclosed.first("other") is None
    assert unclosed.first("van") is None


@pytest.mark.parametrize("away", [os.remove, lambda path: path.rename(path.with_name("elsewhere"))])
def test_one_that_is_gone_is_not(unclosed: Unclosed, van: Path, away: object) -> None:
    assert callable(away)
    with (van / "job.toml").open("ab", buffering=0) as file:
        file.write(b"#")
        assert unclosed.first("van") == "job.toml"
        away(van / "job.toml")
        assert unclosed.first("van") is None


def test_a_folder_that_comes_later_is_watched_at_the_next_look(unclosed: Unclosed, van: Path) -> None:
    (van / "night").mkdir()
    unclosed.watch("van", van, snapshot(van))
    with (van / "night" / "0001.png").open("wb", buffering=0) as file:
        file.write(b"half")
        assert unclosed.first("van") == "night/0001.png"


def test_a_drop_that_is_forgotten_is_watched_no_more(unclosed: Unclosed, van: Path) -> None:
    assert unclosed.names() == ("van",)
    unclosed.forget("van")
    unclosed.forget("unknown")
    with (van / "job.toml").open("ab", buffering=0) as file:
        file.write(b"#")
        assert unclosed.first("van") is None and unclosed.names() == ()
