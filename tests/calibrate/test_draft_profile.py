"""Drafts of profiles: they hold what the stock files show, no more, and say of each line where it is from."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.calibrate.draft_profile import SEEN, Draft, draft, free_path, nearest, write_draft
from keyturn.calibrate.stock_facts import StockFacts, facts_of
from keyturn.calibrate.stock_logo import StockLogo, read_logo
from keyturn.commands.archive_reader import read_bundle
from keyturn.package.bmp_writer import bmp
from keyturn.radio.archive import Entry
from keyturn.shop import rulebook
from keyturn.shop.bmp_layout import BmpLayout
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Refused
from keyturn.shop.wrong_use import WrongUse
from samples import examples, with_tables
from stock_samples import SIZE, STOCKS, Stock

RULES = rulebook.load()
RADIOS = RULES.radios
DAY = date(2026, 3, 1)


def facts(stock: Stock, tmp_path: Path, size: tuple[int, int] = SIZE) -> StockFacts:
    path = stock.write(tmp_path / "stock.zip", size)
    found = read_bundle(path, RULES.intake.caps)
    return facts_of(found.entries, found.desc, found.trims, zip_bytes=path.stat().st_size)


def drafted(stock: Stock, tmp_path: Path, logo: StockLogo | None = None) -> Draft:
    return draft("dash", facts(stock, tmp_path), logo, RADIOS, "stock.zip", DAY)


@pytest.mark.parametrize("name", STOCKS)
def test_no_limit_is_above_what_the_stock_animation_has(name: str, tmp_path: Path) -> None:
    seen = facts(STOCKS[name], tmp_path)
    radio = drafted(STOCKS[name], tmp_path).radio
    assert radio.limits.zip_mib * 2**20 == (tmp_path / "stock.zip").stat().st_size
    assert radio.limits.fps_max == STOCKS[name].fps
    assert radio.limits.texture_mib == max(seen.memory_mib.values())
    assert radio.firmware.frame_formats == seen.formats and radio.panel.size == SIZE
    shown = radio.firmware.palette, radio.firmware.interlaced
    assert shown == (seen.palette, seen.interlaced)
    assert set(radio.player.generations) == set(seen.generations)
    for facts_of_one in radio.player.candidates:
        assert (facts_of_one.trim, facts_of_one.row_colour) == (seen.trim, seen.row_colour)
    assert radio.player.knows("c") == ("first" not in seen.generations)
    assert radio.screen.shows_camera and not radio.stick.extra_files


@pytest.mark.parametrize("name", STOCKS)
def test_each_line_says_whether_it_was_seen_or_from_where_it_was_guessed(name: str, tmp_path: Path) -> None:
    made = drafted(STOCKS[name], tmp_path)
    tables = {key: table for key, table in tomllib.loads(made.text).items() if key != "title"}
    lines = [line for line in made.text.splitlines() if " = " in line and not line.startswith(("source", "title"))]
    told = [line for line in lines if not line.endswith("[")]  # lists over several lines follow their table's source
    assert told and all(
        any(f"# {word}" in line for word in ("seen", "not seen", "guessed", "assumed")) for line in told
    )
    for key in ("panel", "player", "firmware", "limits"):
        assert tables[key]["source"].startswith(SEEN)
    assert made.like in RADIOS
    types = " ".join(STOCKS[name].wanted.get("types", ("p",)))
    assert tables["player"]["source"].startswith(f"{SEEN}: rows of type {types};")
    assert all(made.like in tables[key]["source"] for key in ("boot", "stick", "steps", "logo"))


def test_the_nearest_radio_has_the_size_or_else_the_shape() -> None:
    assert nearest((1024, 600), RADIOS.values()).panel.size == (1024, 600)
    assert nearest((1920, 1080), RADIOS.values()).name == "wide-1280x720"
    assert nearest((600, 800), RADIOS.values()).name == "tall-768x1024"
    learnt = with_tables(RADIOS["wide-1280x720"], panel={"source": SEEN, "width": 1920, "height": 1080})
    assert nearest((1920, 1080), [learnt, *RADIOS.values()]).name == "wide-1280x720", "a guess is not guessed from"
    assert nearest((1920, 1080), RADIOS.values()).name == "wide-1280x720"


def test_a_stock_logo_says_how_logos_are_made(tmp_path: Path) -> None:
    path = tmp_path / "stock-logo.bmp"
    path.write_bytes(bmp(np.zeros((64, 48, 3), np.uint8), BmpLayout(16, True, "v4", 9000)))
    made = drafted(STOCKS["plain"], tmp_path, read_logo(path, 10))
    logo = made.radio.logo
    assert (logo.formats, logo.bmp, logo.max_kib * 1024) == (("bmp",), BmpLayout(16, True, "v4", 9000), 9000)
    assert made.radio.stick.logo == "logo.bmp" and made.radio.panel.bits == 16
    assert any("16-bit colour" in line for line in made.open_questions)


@pytest.mark.parametrize(("kind", "palette"), [("png", True), ("png", False), ("jpeg", False)])
def test_other_stock_logos_bound_the_size_of_logos(tmp_path: Path, kind: Any, palette: bool) -> None:
    made = drafted(STOCKS["plain"], tmp_path, StockLogo(kind, SIZE, 5000, palette=palette))
    logo = made.radio.logo
    assert (logo.formats, logo.palette, logo.max_kib * 1024) == ((kind,), palette, 5000)
    assert made.radio.stick.logo == {"png": "logo.png", "jpeg": "logo.jpg"}[kind]


def test_a_bmp_with_an_old_header_gets_the_nearest_and_its_size_is_not_insisted_on(tmp_path: Path) -> None:
    """A BITMAPCOREHEADER has 28 bytes fewer than the BITMAPINFOHEADER."""
    old = StockLogo(
        "bmp", SIZE, 26 + 48 * 64 * 3, bmp=BmpLayout(24, False, "info", 26 + 48 * 64 * 3), same_header=False
    )
    made = drafted(STOCKS["plain"], tmp_path, old)
    assert made.radio.logo.exact_bytes == 0 and made.radio.logo.max_kib * 1024 == 54 + 48 * 64 * 3


def test_files_of_two_radios_are_not_taken_for_one(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="the stock logo is 800 x 480, and the animation 48 x 64"):
        drafted(STOCKS["plain"], tmp_path, StockLogo("png", (800, 480), 5000))


def test_a_panel_that_no_profile_can_have_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match=r"panel\.width"):
        draft("dash", facts(STOCKS["plain"], tmp_path, (9000, 64)), None, RADIOS, "stock.zip", DAY)


ROW = st.builds(
    "{} {} {} {}{}".format,
    st.sampled_from(["p", "c", "f", "x", " p"]),
    st.integers(-3, 2**40),
    st.integers(-3, 2**40),
    st.sampled_from(["part0", "part1", "../part0", "none"]),
    st.sampled_from(["", " #102030", " #zzz", " 4 #102030"]),
)
FILE = st.builds(
    Entry,
    st.sampled_from([f"part{n}/{m}.png" for n in (0, 1) for m in range(4)] + ["part0/trim.txt", "part0/audio.wav"]),
    st.booleans(),
    st.integers(1, 5000),
    st.integers(1, 5000),
    interlaced=st.booleans(),
    alpha=st.booleans(),
    bits=st.sampled_from([1, 8, 16]),
    kind=st.sampled_from(["png", "jpeg", "other"]),
    palette=st.booleans(),
)


@settings(max_examples=examples(500), deadline=None)
@given(
    st.lists(ROW, max_size=6),
    st.lists(FILE, max_size=8),
    st.integers(0, 9000),
    st.integers(-1, 200),
    st.binary(max_size=60),
)
def test_whatever_an_archive_says_a_draft_holds_its_limits_or_none_is_made(
    rows: list[str], files: list[Entry], width: int, fps: int, trim: bytes
) -> None:
    text = "".join(f"{line}\n" for line in [f"{width} 600 {fps}", *rows]).encode()
    entries = [Entry("desc.txt", compressed=False), *files]
    try:
        seen = facts_of(entries, text, {"part0/trim.txt": trim}, zip_bytes=1000)
        made = draft("dash", seen, None, RADIOS, "stock.zip", DAY)
    except (Refused, WrongUse):
        return
    assert made.radio.limits.fps_max == min(fps, 60) and made.radio.panel.size == (width, 600)
    assert seen.generations and made.radio.limits.texture_mib > 0


def test_the_name_of_the_file_cannot_become_a_line_of_the_profile(tmp_path: Path) -> None:
    made = draft("dash", facts(STOCKS["plain"], tmp_path), None, RADIOS, "a\n[limits]\nzip_mib = 9\r\udcff.zip", DAY)
    assert tomllib.loads(made.text)["limits"]["zip_mib"] < 1 and made.text.encode("utf-8")


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("../dash", "cannot be a radio's name"),
        ("dash.toml", "cannot be a radio's name"),
        ("", "cannot be a radio's name"),
        ("tall-768x1024", "there is a radio tall-768x1024 already"),
        ("Tall 768x1024".replace(" ", "-"), "there is a radio tall-768x1024 already"),
        ("tiny", "there is a radio tiny already"),
    ],
)
def test_a_name_that_is_none_or_is_taken_is_an_error_with_a_way_out(shop: Shop, name: str, says: str) -> None:
    with pytest.raises(WrongUse) as caught:
        free_path(shop.rules, name, rulebook.load(shop.rules).radios)
    assert says in caught.value.what and caught.value.mend


def test_a_draft_is_written_whole_and_loads(shop: Shop, tmp_path: Path) -> None:
    made = drafted(STOCKS["c parts"], tmp_path)
    write_draft(made, free_path(shop.rules, "dash", RADIOS), RULES.usb.fat)
    assert rulebook.load(shop.rules).radios["dash"] == made.radio
    with pytest.raises(WrongUse, match="nothing is overwritten"):
        free_path(shop.rules, "dash", RADIOS)
