"""Lines that a reason proposes, put where it says, are read: by tomllib (TOML 1.0) and as a manifest."""

from __future__ import annotations

import tomllib

import pytest

from keyturn.manifest.lines_to_paste import CONTAIN, at_the_top, in_part, under_motion
from keyturn.manifest.models import Manifest

HEAD = 'customer = "C"\nradio = "tiny"\n'


def manifest(text: str) -> Manifest:
    return Manifest.model_validate(tomllib.loads(text))


def test_a_line_for_the_top_is_read_before_the_first_table() -> None:
    where, lines = at_the_top(CONTAIN).split("\n", 1)
    assert "at the top of job.toml" in where and "instead of any fit" in where
    assert manifest(f'{lines}\n{HEAD}[[part]]\nart = "a*"\n').fit == "contain"


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (f'{HEAD}[[part]]\nart = "a*"\n', "at the end"),
        (f"{HEAD}[motion]\nthin = true\n", "under [motion] in job.toml"),
        (f"{HEAD}[motion]\nfps = 4\n", "under [motion] in job.toml, instead of its fps"),
    ],
)
def test_the_table_is_written_where_there_is_none_and_its_line_takes_another_s_place(text: str, place: str) -> None:
    where, lines = under_motion(manifest(text), "fps = 12").split("\n", 1)
    assert place in where
    assert manifest(text.replace("fps = 4\n", "") + lines + "\n").motion.fps == 12


def test_a_part_s_line_says_which_part() -> None:
    where, lines = in_part(2, "plays = 10").split("\n", 1)
    assert "the plays of [[part]] number 2" in where and lines == "plays = 10"
