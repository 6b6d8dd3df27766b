"""The two facts of a manifest are found in a text that says them otherwise."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.manifest.other_words import lines_from, two_lines

RADIOS = ("tall-768x1024", "wide-1024x600", "wide-1280x720")
WANTED = 'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"'


@pytest.mark.parametrize(
    "text",
    [
        "Customer: Fern Hollow Mobile Library\nRadio: tall-768x1024\n",
        "customer: Fern Hollow Mobile Library.\nfor the Tall 768 × 1024 unit",
        "The client is Fern Hollow Mobile Library, and the panel is 768 x 1024.",
        "Kunde = „Fern Hollow Mobile Library“\nRadio: 768*1024",
        '{"customer": "Fern Hollow Mobile Library", "radio": "tall-768x1024"}',
        "radio,tall_768x1024\ncustomer,Fern Hollow Mobile Library\n",
        "customer name - Fern Hollow Mobile Library\nradio - TALL 768x1024",
    ],
)
def test_both_facts_give_two_lines_of_toml(text: str) -> None:
    assert lines_from(text, RADIOS) == WANTED


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Customer: Fern Hollow",
        "Radio: tall-768x1024",
        "Customer: Fern Hollow\nRadio: tall or wide-1024x600, tall-768x1024",
        "Customer:\nRadio: tall-768x1024",
        "lamps for the van, 768x1024",
        "Customer: Fern\nRadio: 800x480",
    ],
)
def test_one_fact_or_an_unclear_one_gives_none(text: str) -> None:
    assert lines_from(text, RADIOS) is None


def test_without_known_radios_the_text_s_own_word_is_taken() -> None:
    assert lines_from("Customer: Fern\nRadio: slate-9\n", ()) == 'customer = "Fern"\nradio = "slate-9"'


def test_a_text_file_of_the_drop_is_found_in_any_encoding_and_others_are_left(tmp_path: Path) -> None:
    for name in ("0001.png", "REJECTED.txt", "REJECTED.json", "large.txt"):
        (tmp_path / name).write_text("Customer: A\nRadio: wide-1024x600\n" + " " * 40_000 * (name == "large.txt"))
    (tmp_path / "pipe.txt").symlink_to(tmp_path / "0001.png")
    (tmp_path / "word.md").write_bytes(b"{\\rtf1 Customer: A\nRadio: wide-1024x600}")
    assert two_lines(tmp_path, RADIOS) is None
    (tmp_path / "order.txt").write_text(f"Customer: Fern Hollow Mobile Library\nRadio: {RADIOS[0]}", encoding="utf-16")
    assert two_lines(tmp_path, RADIOS) == ("order.txt", WANTED)
    assert two_lines(tmp_path / "none", RADIOS) is None
