"""What the players of each generation do, as rules/players.toml says and as a profile may override it.

The facts are those of Android Open Source Project, frameworks/base, cmds/bootanimation, versions 4.0, 4.4, 10 and 14.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomlkit
from pydantic import ValidationError

from keyturn.shop import player_facts, rulebook
from keyturn.shop.player_facts import GENERATIONS, PlayerFacts, of_generation
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import ShopFault
from samples import with_player

TALL = rulebook.load().radios["tall-768x1024"]


def test_every_fact_says_what_it_means_and_where_it_is_from() -> None:
    table = player_facts.shipped()
    assert set(table) == set(PlayerFacts.model_fields)
    for name, fact in table.items():
        assert set(fact) == {"what", "source", *GENERATIONS}, name
        assert len(fact["what"]) > 10 and len(fact["source"]) > 10, name


def test_the_generations_differ_as_the_published_players_do() -> None:
    by_name = {g: of_generation(g) for g in GENERATIONS}
    assert [f.pacing for f in by_name.values()] == ["additive", "fixed-beat", "fixed-beat", "fixed-beat"]
    assert [f.boot_end for f in by_name.values()] == ["killed", "asked", "asked", "asked"]
    assert [f.pause_check_ms for f in by_name.values()] == [0, 0, 0, 50]
    assert [f.part_types for f in by_name.values()] == [("p",), ("p", "c"), ("p", "c"), ("p", "c", "f")]
    assert [f.texture_bytes_opaque for f in by_name.values()] == [2, 4, 4, 4]
    assert [f.texture_power_of_two for f in by_name.values()] == [True, True, False, False]
    assert [f.once_only_textures for f in by_name.values()] == ["one", "one", "one", "every-frame"]
    assert [f.textures_freed for f in by_name.values()] == ["part", "part", "animation", "animation"]
    assert [f.leading_blank for f in by_name.values()] == ["dropped", "read", "read", "dropped"]
    assert [f.black_first for f in by_name.values()] == [True, True, False, False]


def test_a_profile_overrides_single_facts_of_its_generation() -> None:
    radio = with_player(TALL, generation="second", trim=True)
    assert radio.player.trim and not of_generation("second").trim
    assert radio.player.part_types == of_generation("second").part_types
    assert radio.player.as_table() == {
        "source": TALL.player.source,
        "generation": "second",
        "may_be": [],
        "trim": True,
    }


def test_a_guess_names_every_generation_that_it_may_be_and_overrides_hold_for_each() -> None:
    radio = with_player(TALL, generation="third", may_be=["fourth", "second"], texture_bytes=2)
    assert radio.player.generations == ("second", "third", "fourth")
    assert [facts.textures_freed for facts in radio.player.candidates] == ["part", "animation", "animation"]
    assert {facts.texture_bytes for facts in radio.player.candidates} == {2}
    assert TALL.player.generations == ("first",)


def test_a_type_is_known_where_every_player_knows_it_that_the_radio_may_have() -> None:
    sure, unsure = (with_player(TALL, generation="second", may_be=other) for other in (["third"], ["first"]))
    assert sure.player.knows("c") and not unsure.player.knows("c") and unsure.player.knows("p")


def test_a_profile_survives_being_written_and_read() -> None:
    radio = with_player(TALL, generation="third", may_be=["fourth"], trim=False)
    text = tomlkit.dumps(
        radio.model_dump(mode="json", exclude={"name"}, exclude_none=True) | {"player": radio.player.as_table()}
    )
    assert Radio.model_validate({"name": radio.name} | tomllib.loads(text)) == radio


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('generation = "fifth"', "generation"),
        ('generation = "second"\nmay_be = ["sixth"]', "may_be"),
        ('generation = "second"\npause_check_ms = -1', "pause_check_ms"),
        ('generation = "second"\ntextures = 3', "textures"),
    ],
)
def test_what_no_player_does_is_an_error_of_its_file_and_key(tmp_path: Path, line: str, says: str) -> None:
    text = (rulebook.SHIPPED / "radios" / "tall-768x1024.toml").read_text(encoding="utf-8")
    (tmp_path / "radios").mkdir()
    (tmp_path / "radios" / "odd.toml").write_text(text.replace('generation = "first"', line), encoding="utf-8")
    with pytest.raises(ShopFault, match=rf"odd\.toml: player\.{says}"):
        rulebook.load(tmp_path)


def test_a_shop_s_own_players_file_changes_a_fact_for_all_radios_of_a_generation(tmp_path: Path) -> None:
    (tmp_path / "players.toml").write_text("[black_first]\nfirst = false\n", encoding="utf-8")
    book = rulebook.load(tmp_path)
    assert not book.radios["tall-768x1024"].player.black_first
    assert book.radios["wide-1024x600"].player.black_first


# -- profiles of older Keyturns ----------------------------------------------------------------------


def older(**firmware: object) -> dict[str, object]:
    """A profile as older Keyturns wrote it: facts of the player in [firmware] and [limits]."""
    tables = TALL.model_dump(mode="json", exclude={"player"})
    tables["firmware"] |= firmware
    tables["limits"] |= {"texture_bytes": 4, "texture_power_of_two": True}
    return tables


@pytest.mark.parametrize(
    ("firmware", "generations"),
    [
        ({"pacing": "additive", "part_types": ["p"], "trim": False}, ("first",)),
        ({"pacing": "fixed-beat", "part_types": ["p", "c"], "trim": False}, ("second", "third")),
        ({"pacing": "fixed-beat", "part_types": ["p", "c", "f"], "trim": True}, ("third", "fourth")),
    ],
)
def test_an_older_profile_keeps_working_and_says_which_keys_are_old(
    firmware: dict[str, object], generations: tuple[str, ...]
) -> None:
    radio = Radio.model_validate(older(**firmware))
    assert radio.player.generations == generations
    assert radio.player.part_types == tuple(firmware["part_types"])  # type: ignore[arg-type]
    assert (radio.player.texture_bytes, radio.player.texture_bytes_opaque) == (4, 4)
    assert set(radio.old_keys) >= {"firmware.pacing", "limits.texture_bytes"}
    assert TALL.old_keys == ()


def test_a_profile_without_a_player_is_an_error() -> None:
    tables = TALL.model_dump(mode="json", exclude={"player"})
    with pytest.raises(ValidationError, match="player"):
        Radio.model_validate(tables)
