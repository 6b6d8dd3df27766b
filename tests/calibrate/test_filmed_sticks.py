"""From a stick to a profile, whole: the stick is played by the literal player, filmed by a simulated phone, packed as
H.264 or HEVC, read, learnt from and stored, by the command and by the service."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from calibrate.simulated_film import Filmed, film, filming
from calibrate.simulated_start import RadioDoes, start, stick
from keyturn.outbox import calibration_folders
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.radio_profile import Radio
from page_text import text_of
from samples import Run
from shop_runs import lay, rejected, run_until_quiet

pytestmark = pytest.mark.slow

RADIO = "compact-800x480"
COSTS_MS = (12.0, 35.0)
"""Decoding a plain frame and a detailed one; drawing takes 4 ms."""

BOOTS = {1: (7.9, 8.5), 3: (7.3,)}
"""Of the player of each generation, in s."""


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> dict[int, list[Filmed]]:
    """Films of starts of a radio of the first generation, and of one of the third."""
    folder, rules = tmp_path_factory.mktemp("films"), rulebook.load()
    on = stick(rules.radios[RADIO], rules, folder / "stick", fps=10, seconds=9)
    return {
        generation: [
            film(
                start(on, RadioDoes(generation, boot_s, COSTS_MS)),
                filming(seed, hardship),
                folder / f"g{generation}-{seed}.mp4",
            )
            for seed, (boot_s, hardship) in enumerate(zip(boots, ("plain", "rate"), strict=False))
        ]
        for generation, boots in BOOTS.items()
    }


def check_boots(radio: Radio, films: list[Filmed]) -> None:
    """Each boot is that of the literal player, within one frame of the slowest film."""
    for boot_s, one in zip(radio.boot.samples, films, strict=True):
        assert boot_s == pytest.approx(one.start.home_s - one.start.first_s, abs=1 / 24)


def test_the_command_learns_the_first_generation_from_films(
    filmed: dict[int, list[Filmed]], shop: Shop, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    films = filmed[1]
    assert run("calibrate", RADIO, "--film", *(one.path for one in films), "--root", shop.root) == 0
    radio = rulebook.load(shop.rules).radios[RADIO]
    check_boots(radio, films)
    assert radio.filmed is not None
    assert radio.filmed.interval_ms == pytest.approx(100 + 12 + 4, rel=0.01)  # additive, AOSP 4.0
    assert radio.filmed.plain_ms == pytest.approx(12, abs=3)
    assert radio.filmed.detailed_ms == pytest.approx(35, abs=5)
    assert (radio.player.generation, radio.player.generations) == ("first", ("first",))
    assert (radio.player.pacing, radio.firmware.pause_unit) == ("additive", "frames")
    page = text_of((tmp_path / f"calibration-{RADIO}.html").read_text(encoding="utf-8"))
    assert re.search(r"11[56]\.\d ms, give or take", page)


def test_the_service_learns_from_films_in_the_inbox(
    filmed: dict[int, list[Filmed]], shop: Shop, tmp_path: Path
) -> None:
    (one,) = filmed[3]
    drop = tmp_path / "films"
    drop.mkdir()
    (drop / "job.toml").write_text(f'calibrate = "{RADIO}"\n', encoding="utf-8")
    shutil.copy(one.path, drop)
    lay(drop, shop)
    run_until_quiet(shop)
    assert not rejected(shop)
    (folder,) = calibration_folders.folders(shop.outbox)
    told = json.loads((folder / "calibration.json").read_text(encoding="utf-8"))
    assert told["stored"] and told["interval_s"] == pytest.approx(0.1, rel=0.01)
    radio = rulebook.load(shop.rules).radios[RADIO]
    check_boots(radio, [one])
    assert radio.player.pacing == "fixed-beat"
    assert "third" in radio.player.generations


def test_a_film_of_something_else_is_rejected_with_how_to_film_it_better(shop: Shop, tmp_path: Path) -> None:
    import av
    import numpy as np

    drop = tmp_path / "films"
    drop.mkdir()
    (drop / "job.toml").write_text(f'calibrate = "{RADIO}"\n', encoding="utf-8")
    with av.open(str(drop / "ferry.mp4"), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 160, 120, "yuv420p"
        for n in range(40):
            picture = np.full((120, 160, 3), 40 + 4 * n, np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture)))
        container.mux(stream.encode(None))
    lay(drop, shop)
    run_until_quiet(shop)
    (name,) = rejected(shop)
    said = (shop.rejects / name / "REJECTED.txt").read_text(encoding="utf-8")
    assert "ferry.mp4" in said and "film the stick" in said
    assert not list(calibration_folders.folders(shop.outbox))
