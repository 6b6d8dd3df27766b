"""A table says of each line how it is known, and as a whole in `source`; tomllib reads it back."""

from __future__ import annotations

import tomllib

import tomlkit

from keyturn.calibrate.sourced_table import SourcedTable

GUESS = "guessed from the radio tall-768x1024"


def written(table: SourcedTable) -> str:
    document = tomlkit.document()
    document["panel"] = table.toml()
    return tomlkit.dumps(document)


def test_what_was_seen_comes_first_and_what_was_guessed_is_named() -> None:
    table = SourcedTable(GUESS)
    table.add("width", 768, "seen in the stock animation")
    table.add("fps_max", 12, "seen in the stock animation: at least this")
    table.guessed("width_mm", 158)
    table.add("bits", 16, "guessed from the stock logo")
    assert table.source == f"seen in the stock animation; {GUESS} (width_mm); guessed from the stock logo (bits)"
    lines = written(table).splitlines()
    assert "width = 768 # seen in the stock animation" in lines and f"width_mm = 158 # {GUESS}" in lines


def test_a_table_of_guesses_has_their_source_alone() -> None:
    table = SourcedTable(GUESS)
    table.guessed("shortest", 16)
    assert table.source == GUESS


def test_long_lists_go_over_several_lines() -> None:
    table, steps = (
        SourcedTable(GUESS),
        ["Start the radio and let it boot fully.", "Choose the logo from the stick."] * 2,
    )
    table.guessed("load", steps)
    assert "load = [\n" in written(table) and tomllib.loads(written(table))["panel"]["load"] == steps
