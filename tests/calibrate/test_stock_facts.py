"""What stock animations show, against how they were made; which generation shows what is FORMAT's table, from AOSP."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from keyturn.calibrate.stock_facts import StockFacts, facts_of
from keyturn.commands.archive_reader import read_bundle
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from stock_samples import SIZE, STOCKS, Stock, frames

CAPS = rulebook.load().intake.caps
PLAIN = {
    "size": SIZE,
    "fps": 12,
    "types": ("p",),
    "plays": 1,
    "pauses": False,
    "formats": ("png",),
    "palette": False,
    "interlaced": False,
    "deep": False,
    "trim": False,
    "row_colour": False,
    "generations": ("first", "second", "third", "fourth"),
}


def facts(stock: Stock, path: Path) -> StockFacts:
    found = read_bundle(stock.write(path / "stock.zip"), CAPS)
    size = (path / "stock.zip").stat().st_size
    return facts_of(found.entries, found.desc, found.trims, zip_bytes=size, bytes_before=found.bytes_before)


@pytest.mark.parametrize("name", STOCKS)
def test_each_shape_shows_what_it_was_made_of_and_no_more(name: str, tmp_path: Path) -> None:
    seen = facts(STOCKS[name], tmp_path)
    assert {key: getattr(seen, key) for key in PLAIN} == PLAIN | STOCKS[name].wanted
    assert seen.zip_bytes == (tmp_path / "stock.zip").stat().st_size


def test_memory_is_what_each_generation_holds(tmp_path: Path) -> None:
    """FORMAT's table, from AOSP: 48 x 64 is 64 x 64 in powers of two; 2 bytes a pixel on the first, 4 on the others;
    a part that plays once keeps one texture, on the fourth each of its frames."""
    held = facts(STOCKS["plain"], tmp_path).memory_mib
    assert held["first"] * 2**20 == 5 * 64 * 64 * 2
    assert held["second"] * 2**20 == 5 * 64 * 64 * 4
    assert held["third"] * 2**20 == 5 * 48 * 64 * 4
    assert held["fourth"] * 2**20 == 12 * 48 * 64 * 4


def test_an_archive_of_which_nothing_is_shown_teaches_nothing(tmp_path: Path) -> None:
    path = tmp_path / "stock.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("desc.txt", "48 64 12\np 0 0 part0\n")
        archive.writestr("part0/0001.png", frames(1)["0001.png"])
    found = read_bundle(path, CAPS)
    with pytest.raises(Refused) as caught:
        facts_of(found.entries, found.desc, found.trims, zip_bytes=1)
    assert "desc-compressed" in {reason.code for reason in caught.value.reasons}


def test_what_no_published_player_shows_is_an_oddity(tmp_path: Path) -> None:
    stock = Stock(("p 0 0 part0",), {"part0": frames(3) | {"notes.txt": b"drawn in spring"}})
    seen = facts(stock, tmp_path)
    assert [reason.code for reason in seen.oddities] == ["frame-not-a-picture"]
    assert seen.generations == ("first", "fourth")  # the others crash on it
