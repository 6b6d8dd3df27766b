"""Keys and values of one plain meaning are read as they are meant; what is right already is left alone."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from keyturn.manifest import reading
from keyturn.manifest.as_meant import as_meant, toml, truth
from keyturn.manifest.models import Manifest
from manifest_samples import LEAST, refused


def meant(line: str) -> tuple[dict[str, Any], list[str]]:
    table, reasons = as_meant(tomllib.loads(line), Manifest, "job.toml")
    assert all(reason.file == "job.toml" and reason.kind == "mended" for reason in reasons)
    return table, [f"{reason.field}: {reason.what}" for reason in reasons]


@pytest.mark.parametrize(
    ("line", "key", "value"),
    [
        ('Customer = "Fern"', "customer", "Fern"),
        ('customer = "Fern\xa0Hollow"', "customer", "Fern Hollow"),
        ("job = 12", "job", "12"),
        ("job = 2026-03-01", "job", "2026-03-01"),
        ('rush = "yes"', "rush", True),
        ("rush = 0", "rush", False),
        ('background = "white"', "background", "#ffffff"),  # CSS Color Module Level 4, 6.1
        ('background = "Rebecca Purple"', "background", "#663399"),
        ('background = "#fA0"', "background", "#ffAA00"),  # the same, 5.2: each digit stands for two
        ('background = "0b1d2a"', "background", "#0b1d2a"),
        ('fit = "COVER"', "fit", "cover"),
        ('language = "German"', "language", "de"),
        ('language = "Fran\u00e7ais"', "language", "fr"),
        ('language = "pt-BR"', "language", "pt"),
        ('language = "de_AT"', "language", "de"),
        ("focus = [0,5, 0,25]", "focus", [0.5, 0.25]),
        ('focus = ["0,5", 1]', "focus", [0.5, 1]),
        ('radio = "tall\u00a0768"', "radio", "tall 768"),
    ],
)
def test_a_value_of_one_plain_meaning_is_taken_and_told(line: str, key: str, value: object) -> None:
    table, told = meant(line)
    assert table == {key: value}
    assert len(told) == 1 and told[0].startswith(key)


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ('art = "lamps\\\\*.png"', "lamps/*.png"),
        ('art = "lamps\\new.png"', "lamps/new.png"),  # TOML 1.0, "String": \\n is a line feed
        ('art = "./lamps/"', "lamps/"),
        ('art = ["lamps/*.png"]', "lamps/*.png"),
        ('plays = "forever"', "until-booted"),
        ('plays = "Until booted"', "until-booted"),
        ('plays = "3"', 3),
        ("plays = 2.0", 2),
        ('pause = "0,5"', 0.5),
        ('crossfade = { To = "b\\\\c.png", frames = "12" }', {"to": "b/c.png", "frames": 12}),
        (
            'glide = { sprite = "a\\\\b.png", path = [["0,5", 0.6]], ease = "In out", size = "0,3" }',
            {"sprite": "a/b.png", "path": [[0.5, 0.6]], "ease": "in-out", "size": 0.3},
        ),
    ],
)
def test_so_are_those_of_a_part(line: str, value: object) -> None:
    table, told = meant(f"[[part]]\n{line}")
    assert list(table["part"][0].values()) == [value] and told


@pytest.mark.parametrize(
    "line",
    [
        'background = "tomatoes"',
        "focus = [0, 1]",
        "focus = [0, 5, 1]",
        'rush = "perhaps"',
        "rush = 2",
        'radio = ["a", "b"]',
        'logo = { art = "first-frame" }',
        '[[part]]\nart = ["a", "b"]',
        '[[part]]\nstart = "1,000"',
        "[[part]]\npan = { from = [0, 0, 1, 1] }",
        'customer = "Fern “Hollow”"',
        "[part]\nPLAYS = 3",
        "[[part]]\nsheet = [8, 4, 2, 1]",
        "zzz = { Rush = 1 }",
    ],
)
def test_what_is_right_or_has_no_plain_meaning_is_left_alone(line: str) -> None:
    assert meant(line) == (tomllib.loads(line), [])


def test_one_key_written_in_two_ways_is_not_guessed_at() -> None:
    assert refused(LEAST + b'Customer = "Other"\n')["Customer"].code == "manifest-key-unknown"


def test_two_names_of_one_radio_are_one_radio_twice() -> None:
    data = LEAST.replace(b'"tall-768x1024"', '["tall-768x1024", "Tall 768×1024"]'.encode())
    assert "twice" in refused(data)["radio"].what


def test_the_first_frame_is_meant_in_any_spelling() -> None:
    assert reading.parse(LEAST + b'logo = { art = "First Frame" }\n').logo.art == "first-frame"


@pytest.mark.parametrize(
    ("word", "value"), [("Yes", True), ("ja", True), ("OFF", False), ("non", False), ("may", None)]
)
def test_words_for_yes_and_no(word: str, value: bool | None) -> None:
    assert truth(word) is value


def test_values_are_shown_as_toml_writes_them() -> None:
    assert [toml(v) for v in (True, 2, "a\nb", [0.5, "x"])] == ["true", "2", '"a\\nb"', '[0.5, "x"]']


def test_a_logo_named_at_the_top_is_the_logo_s_art() -> None:
    table, told = meant('logo = "Logo.png"')
    assert (table, told) == (
        {"logo": {"art": "Logo.png"}},
        ['logo: "Logo.png" was read as art = "Logo.png" under [logo]'],
    )


def test_only_so_many_mended_keys_are_listed() -> None:
    _, told = meant("".join(f'[[part]]\nArt = "{n}"\n' for n in range(60)))
    assert len(told) == 50
