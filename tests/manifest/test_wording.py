"""All errors of a manifest are reported at once, each with its field and a mend in the artist's words."""

from __future__ import annotations

import pytest

from manifest_samples import LEAST, refused


def test_every_error_is_told_at_once_each_with_its_field() -> None:
    found = refused(
        b'custmer = "F"\nradio = "x"\nfit = "stretch"\nbackground = "reddish"\n'
        b'[motion]\nfps = "fast"\n[[part]]\nart = "a/*"\nplays = 0\npause = -1\n'
    )
    assert set(found) == {
        "customer", "custmer", "fit", "background", "motion.fps", "part.1.plays", "part.1.pause",
    }  # fmt: skip
    assert all(r.mend and r.file == "job.toml" for r in found.values())


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        (b'backgroud = "#000000"', '"background"'),
        (b"fps = 12", "[motion]"),
        (b'plays = "until-booted"', "[part]"),
    ],
)
def test_an_unknown_key_names_the_nearest_or_where_it_belongs(line: bytes, hint: str) -> None:
    (reason,) = refused(LEAST + line).values()
    assert reason.code == "manifest-key-unknown"
    assert hint in reason.mend


def test_a_wrong_value_is_shown_up_to_80_letters() -> None:
    (reason,) = refused(LEAST + b'background = "' + b"x" * 200 + b'"\n').values()
    assert reason.what == f'must be a colour such as "#0b1d2a" (given: "{"x" * 80}")'


def test_the_choices_of_a_field_are_listed() -> None:
    (reason,) = refused(LEAST + b'fit = "stretch"\n').values()
    assert reason.mend.startswith("write one of: cover, contain (cover fills")


def test_a_missing_key_is_shown_as_it_is_to_be_written() -> None:
    found = refused(b'radio = "tall-768x1024"\n')
    assert found["customer"].code == "manifest-key-missing"
    assert found["customer"].mend == 'add customer = "..."'


def test_a_list_that_is_too_short_is_told_with_the_place_from_1() -> None:
    (reason,) = refused(LEAST + b"focus = [0.5]\n").values()
    assert (reason.field, reason.what) == ("focus.2", "has too few numbers")


def test_a_key_that_is_like_no_other_comes_with_the_keys_there_are() -> None:
    (reason,) = refused(LEAST + b"[motion]\nzzz = 1\n").values()
    assert reason.mend == "take it out; the keys known here: fps, finish, thin"
