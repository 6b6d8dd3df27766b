"""What films taught, in the shop's own profile of the radio, and what becomes of a plan by it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from calibration_samples import ADDITIVE, DAY, FIXED, RADIOS, changed
from film_series import Camera, Start, digests
from keyturn.calibrate.film_learning import FilmLearnt, learn_films
from keyturn.calibrate.film_profile import store_films
from keyturn.calibrate.profile import Stored
from keyturn.radio.boot import BootModel
from keyturn.renumber import planned_parts
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.radio_profile import Radio

GUESSED = RADIOS["tall-1080x1920"]
"""Its generation is a guess: the third or the fourth."""

COSTS = {"plain_ms": 60.0, "detailed_ms": 85.0}


def learnt(radio: Radio, generation: int, *boots_ms: float, names: str = "start") -> tuple[FilmLearnt, dict[str, str]]:
    """Return what films of a radio of this generation teach."""
    films = [
        Camera(60, uneven=0.1, seed=n).film(Start(generation=generation, boot_ms=boot, **COSTS), f"{names}{n}.mp4")  # type: ignore[arg-type]
        for n, boot in enumerate(boots_ms)
    ]
    return learn_films(radio, films), digests(*films)


def stored(rules: Path, radio: Radio, generation: int, *boots_ms: float, names: str = "start") -> tuple[Stored, Radio]:
    told, films = learnt(radio, generation, *boots_ms, names=names)
    done = store_films(rules, radio, told, films, on=DAY)
    return done, rulebook.load(rules).radios[radio.name]


def test_boots_costs_and_player_come_back_from_the_rulebook(tmp_path: Path) -> None:
    done, radio = stored(tmp_path, FIXED, 1, 12_930, 13_555, 12_204)
    assert (done.path, done.added) == (tmp_path / "radios" / f"{FIXED.name}.toml", 3)
    assert BootModel.of_radio(radio).spread == pytest.approx((12.14, 12.866, 13.491), abs=0.02)  # less 64 ms of work
    assert (radio.player.generation, radio.player.generations) == ("first", ("first",))
    assert "pacing additive" in radio.player.source and "killed when the boot ends" in radio.player.source
    assert planned_parts.pacing(radio, 10).later_interval_s == pytest.approx(0.104, abs=0.001)
    assert planned_parts.pacing(radio, 10).interval_s == pytest.approx(0.189, abs=0.002)  # of detailed frames
    assert radio.filmed is not None
    assert radio.filmed.interval_ms == pytest.approx(164, rel=0.002)
    assert radio.filmed.plain_ms == pytest.approx(60, abs=1)
    assert radio.filmed.detailed_ms == pytest.approx(85, abs=2)
    assert (radio.filmed.starts, radio.filmed.fps) == (3, 10)
    for table in (radio.boot, radio.limits, radio.player, radio.filmed):
        assert table.source.startswith("measured in this shop on 2026-03-01, 3 starts")
    assert FIXED.limits.source in radio.limits.source and FIXED.player.source in radio.player.source


@pytest.mark.parametrize(
    ("before", "generation", "found"),
    [
        (ADDITIVE, 1, ("first", ())),
        (ADDITIVE, 2, ("second", ())),
        (ADDITIVE, 3, ("third", ("fourth",))),
        (GUESSED, 4, ("third", ("fourth",))),
    ],
)
def test_the_generation_is_that_of_the_literal_player(
    before: Radio, generation: int, found: tuple[str, tuple[str, ...]], tmp_path: Path
) -> None:
    _, radio = stored(tmp_path, before, generation, 12_930, 13_555)
    assert (radio.player.generation, radio.player.may_be) == found


def test_a_known_generation_stays_where_the_films_allow_it(tmp_path: Path) -> None:
    fourth = changed(FIXED, "player", generation="fourth", may_be=())
    fourth = fourth.model_copy(update={"name": "ours"})
    _, radio = stored(tmp_path, fourth, 4, 12_930, 13_555)
    assert (radio.player.generation, radio.player.may_be) == ("fourth", ())


def test_what_the_films_do_not_tell_stays_and_comments_with_it(shop: Shop, rules: rulebook.Rulebook) -> None:
    tiny, path = rules.radios["tiny"], shop.rules / "radios" / "tiny.toml"
    text = path.read_text(encoding="utf-8").replace("fps_max = 30", "fps_max = 12   # flickers above")
    path.write_text(text.replace("longest = 21", "longest = 21\nsamples = [15.5, 16.5]  # by stop-watch"))
    done, radio = stored(shop.rules, tiny, 1, 12_930)
    assert (done.kept, done.added) == (2, 1)
    assert radio.boot.samples == pytest.approx((15.5, 16.5, 12.866), abs=0.02)
    assert (radio.limits.fps_max, radio.limits.zip_mib) == (12, tiny.limits.zip_mib)
    assert radio.panel == tiny.panel
    written = path.read_text(encoding="utf-8")
    assert "# flickers above" in written and "# by stop-watch" in written


def test_the_same_films_once_more_add_nothing(tmp_path: Path) -> None:
    """A service that was killed between storing and publishing does the same again."""
    stored(tmp_path, ADDITIVE, 1, 12_930, 13_555)
    path = tmp_path / "radios" / f"{ADDITIVE.name}.toml"
    before = path.read_text(encoding="utf-8")
    again, radio = stored(tmp_path, rulebook.load(tmp_path).radios[ADDITIVE.name], 1, 12_930, 13_555)
    assert (again.kept, again.added, again.dropped) == (2, 0, 0)
    assert path.read_text(encoding="utf-8") == before
    more, radio = stored(tmp_path, radio, 1, 12_930, names="later")
    assert (more.added, len(radio.boot.samples)) == (1, 3)
    assert radio.filmed is not None and len(radio.filmed.films) == 3


def test_pauses_in_seconds_and_bands_of_colour_are_written(tmp_path: Path) -> None:
    films = [Camera(60).film(Start(generation=3, seconds=True, boot_ms=12_930, **COSTS))]  # type: ignore[arg-type]
    told = learn_films(FIXED, [type(f)(f.film, f.plan, f.frames, f.screen, True, ()) for f in films])
    store_films(tmp_path, FIXED, told, digests(*films), on=DAY)
    radio = rulebook.load(tmp_path).radios[FIXED.name]
    assert (radio.firmware.pause_unit, radio.panel.bits) == ("seconds", 16)


def test_where_it_is_dark_before_the_home_screen_plans_count_to_the_cut(tmp_path: Path) -> None:
    film = Camera(60).film(Start(boot_ms=12_930))
    cut = next(f.at_s for f in film.frames if f.shows == "other")
    dark = tuple(replace(f, shows="black") if cut <= f.at_s < cut + 1 else f for f in film.frames)
    told = learn_films(FIXED, [replace(film, frames=dark)])
    (start,) = told.starts
    assert start.boot_s - start.shown_s == pytest.approx(1, abs=0.03)
    store_films(tmp_path, FIXED, told, digests(film), on=DAY)
    assert rulebook.load(tmp_path).radios[FIXED.name].boot.samples == (round(start.shown_s, 3),)


def test_an_override_that_the_films_contradict_is_taken_out(tmp_path: Path) -> None:
    text = (rulebook.SHIPPED / "radios" / f"{FIXED.name}.toml").read_text(encoding="utf-8")
    start = text.index("[player]")
    rest = text[text.index("[", start + 1) :]
    own = '[player]\nsource = "by hand"\ngeneration = "second"\npacing = "additive"\ntexture_bytes = 2\n\n'
    (tmp_path / "radios").mkdir()
    (tmp_path / "radios" / f"{FIXED.name}.toml").write_text(text[:start] + own + rest, encoding="utf-8")
    _, radio = stored(tmp_path, rulebook.load(tmp_path).radios[FIXED.name], 2, 12_930, 13_555)
    assert (radio.player.generation, radio.player.pacing, radio.player.texture_bytes) == ("second", "fixed-beat", 2)
    assert radio.player.own == ("texture_bytes",)
