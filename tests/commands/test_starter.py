"""Starter drops: every kind can be made for every radio without a change."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from keyturn import pipeline
from keyturn.commands import starter
from keyturn.manifest.schema import schema
from keyturn.pipeline import Bench
from keyturn.shop import radio_profile, rulebook
from keyturn.shop.reasons import Kind, only
from keyturn.shop.wrong_use import WrongUse

RADIOS = rulebook.load().radios


@pytest.mark.parametrize("radio", RADIOS.values(), ids=RADIOS)
@pytest.mark.parametrize("kind", starter.KINDS)
def test_every_starter_is_understood_for_every_radio(
    kind: str, radio: radio_profile.Radio, bench: Bench, tmp_path: Path
) -> None:
    panel = radio.panel.model_copy(update={"width": radio.panel.width // 8, "height": radio.panel.height // 8})
    radio = radio.model_copy(update={"panel": panel})
    bench = replace(bench, rules=bench.rules.model_copy(update={"radios": {radio.name: radio}}))
    starter.write(tmp_path / "first", radio, kind)
    job = pipeline.understand(tmp_path / "first", "first", _scratch(tmp_path), bench)
    assert not only(job.reasons, Kind.REFUSE)
    (plan,) = job.plans
    assert plan.share_finished == 1.0, "its motion ends in every start"
    assert plan.parts[-1].row.count == 0, "something stands until the radio has booted"


@pytest.mark.parametrize("kind", starter.KINDS)
def test_every_starter_is_made(kind: str, bench: Bench, tmp_path: Path) -> None:
    starter.write(tmp_path / "first", bench.rules.radios["tiny"], kind)
    scratch = _scratch(tmp_path)
    job = pipeline.understand(tmp_path / "first", "first", scratch, bench)
    (tmp_path / "made").mkdir()
    made = pipeline.make(job, "claim", "first", 1, tmp_path / "made", scratch, bench)
    (radio,) = made.record.radios
    assert not only(radio.reasons, Kind.REFUSE) and not only(radio.reasons, Kind.MENDED)
    # this radio's player shows a black picture between logo and frame 1 (AOSP 4.0): one flash at most, none in motion
    assert radio.flash.general_max_per_s <= 1 and radio.flash.red_max_per_s == 0


def _scratch(tmp_path: Path) -> Path:
    (tmp_path / "scratch").mkdir()
    return tmp_path / "scratch"


def test_together_they_show_every_way_to_make_a_part() -> None:
    """Artists learn the keys of [[part]] from the starters. Left out are `hold_screen`, as it delays the reversing
    camera, and sheets of frames, for which README has an example."""
    manifests = [tomllib.loads(kind.manifest) for kind in starter.KINDS.values()]
    shown = {key for manifest in manifests for part in manifest["part"] for key in part}
    told = "".join(kind.manifest for kind in starter.KINDS.values())
    keys = schema()["$defs"]["Part"]["properties"]
    assert {key for key in keys if key not in shown and key not in told} == {"hold_screen", "sheet", "margin", "gap"}


def test_an_editor_finds_the_schema_beside_the_manifest(tmp_path: Path) -> None:
    starter.write(tmp_path / "first", RADIOS["tall-768x1024"])
    first_line = (tmp_path / "first" / "job.toml").read_text(encoding="utf-8").splitlines()[0]
    beside = first_line.removeprefix("#:schema ")
    assert json.loads((tmp_path / "first" / beside).read_text(encoding="utf-8")) == schema()


def test_an_unknown_starter_is_named(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="frames, glide"):
        starter.write(tmp_path / "first", RADIOS["tall-768x1024"], "film")
    assert not (tmp_path / "first").exists()
