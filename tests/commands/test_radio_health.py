"""What doctor says of radios' profiles: how their logos are made, and names that promise another kind."""

from __future__ import annotations

import pytest

from keyturn.commands import radio_health
from keyturn.commands.finding import Health
from keyturn.shop.folders import Shop
from samples import Run


def edit(shop: Shop, *changes: tuple[str, str]) -> None:
    path = shop.rules / "radios" / "tiny.toml"
    text = path.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    path.write_text(text, encoding="utf-8")


LOGO = 'formats = ["png"]\nmax_kib'
AS_BMP = (LOGO, 'formats = ["bmp"]\nbmp_bits = 16\nbmp_rows = "top-down"\nexact_bytes = 6400\nmax_kib')


def test_ordinary_radios_are_not_mentioned(shop: Shop) -> None:
    assert list(radio_health.radios(shop)) == []


def test_how_a_bmp_is_made_is_said_by_doctor_and_by_radios(
    shop: Shop, run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    edit(shop, AS_BMP, ('logo = "logo.png"', 'logo = "images/start.bmp"'))
    (told,) = radio_health.radios(shop)
    assert told.health is Health.WELL
    how = "tiny gets its logo as BMP, 16 bit, top-down, 6,400 bytes, called images/start.bmp"
    assert how in told.what
    assert run("radios", "--root", shop.root) == 0
    assert how in capsys.readouterr().out


FILMED = """
[filmed]
source = "measured in this shop on 2026-03-01, 3 starts on film"
fps = 10
starts = 3
interval_ms = 118.0
interval_error_ms = 0.05
spread_ms = 0.2
boot_error_ms = 9.6
draw_ms = 4.0
draw_error_ms = 0.5
"""


def test_what_films_measured_is_said_by_radios(shop: Shop, run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    path = shop.rules / "radios" / "tiny.toml"
    path.write_text(path.read_text(encoding="utf-8") + FILMED, encoding="utf-8")
    assert run("radios", "--root", shop.root) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert (
        "tiny on 3 films of a stick at 10 fps: a frame took 118.0 ms (within 0.1 ms, 0.2 ms from film to film)" in said
    )
    assert "drawing 4 ms (within 1), boots are known within 19 ms" in said and "decoding" not in said


def test_a_name_that_promises_another_kind_is_minded(shop: Shop) -> None:
    edit(shop, ('logo = "logo.png"', 'logo = "logo.jpg"'))
    (told,) = radio_health.radios(shop)
    assert told.health is Health.MIND and "PNG, called logo.jpg" in told.what and "[stick]" in told.remedy


def test_rules_that_cannot_be_read_are_left_to_the_check_of_rules(shop: Shop) -> None:
    edit(shop, ("max_plays = 10", "max_plays = 0"))
    assert list(radio_health.radios(shop)) == []
