"""What each frame of a part is made from."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.flatten.frame_source import Source
from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.normalize.fit import Fit
from keyturn.renumber.frame_sources import FrameSources
from keyturn.renumber.parts import job_art
from keyturn.renumber.plan import plan
from keyturn.shop.radio_profile import Radio
from keyturn.shop.rulebook import Rulebook
from renumber.planning import HEAD
from samples import Drop, picture


def test_a_clip_keeps_its_own_timing(tmp_path: Path, rules: Rulebook, radio: Radio) -> None:
    root = tmp_path / "clip"
    root.mkdir()
    frames = [picture((48, 64), n) for n in range(20)]
    frames[0].save(root / "steam.gif", save_all=True, append_images=frames[1:], duration=100, loop=0)
    (root / "job.toml").write_text(HEAD)
    job = reading.read(root)
    art = job_art(job, survey(root, rules.intake), rules.intake)
    made = plan(job, art, root, radio, rules.intake)
    assert made.fps == 10
    assert made.once_only_s == pytest.approx(2.0)
    assert made.parts[-1].sources[0].index == 19
    doubled = plan(reading.parse((HEAD + "[motion]\nfps = 20\n").encode()), art, root, radio, rules.intake)
    assert len(doubled.parts[0].sources) == 40
    assert doubled.once_only_s == pytest.approx(2.0)


def sources(drop: Path, rules: Rulebook, rate: float = 10.0) -> list[tuple[Source, ...]]:
    art = job_art(reading.read(drop), survey(drop, rules.intake), rules.intake)
    return [FrameSources(art, drop, (48, 64)).sources(part, rate) for part in art.parts]


def test_stills_are_one_source_each_and_the_hold_is_the_last(drop: Drop, rules: Rulebook) -> None:
    stills, hold = sources(drop(frames=3, manifest=HEAD), rules)
    assert [s.name for s in stills] == ["lamps/0001.png", "lamps/0002.png", "lamps/0003.png"]
    assert hold == stills[-1:] and stills[0].path is not None and stills[0].index is None


def test_a_backdrop_lies_under_every_frame_and_a_dissolve_ends_in_its_picture(drop: Drop, rules: Rulebook) -> None:
    text = '[[part]]\nart = "lamps/000[12].png"\nbackdrop = "lamps/0003.png"\n'
    text += 'crossfade = { to = "lamps/0004.png", frames = 4 }\n'
    root = drop(frames=4, manifest=HEAD + text)
    frames = sources(root, rules)[0]
    assert {s.backdrop for s in frames} == {(root / "lamps" / "0003.png", "lamps/0003.png")}
    assert [s.into[1] for s in frames if s.into] == pytest.approx([0.25, 0.5, 0.75])
    assert [s.name[-8:-4] for s in frames] == ["0001", "0002", "0002", "0002", "0002", "0004"]


def test_a_dissolve_from_the_logo_begins_with_the_logo_itself(drop: Drop, rules: Rulebook) -> None:
    """So that the change from the still logo to frame 1 is not seen."""
    text = '[[part]]\nart = "lamps/000[12].png"\nbackdrop = "lamps/0003.png"\n'
    text += 'crossfade = { from = "logo", frames = 4 }\n'
    root = drop(frames=3, manifest=HEAD + text)
    picture((48, 64), 30).save(root / "logo.png")
    frames = sources(root, rules)[0]
    assert frames[0] == Source(root / "logo.png", "logo.png"), "what the logo is made from"
    assert [s.into and (s.into[0].name[-8:-4], s.into[1]) for s in frames] == [
        None,
        ("0001", 0.25),
        ("0001", 0.5),
        ("0001", 0.75),
        None,
        None,
    ]
    assert [s.name[-8:-4] for s in frames] == ["logo"] * 4 + ["0001", "0002"]


def test_backwards_and_back_again(drop: Drop, rules: Rulebook) -> None:
    text = '[[part]]\nart = "lamps/*"\nreverse = true\nthere_and_back = true\nplays = "until-booted"\n'
    (frames,) = sources(drop(frames=3, manifest=HEAD + text), rules)
    assert [s.name[-5] for s in frames] == ["3", "2", "1", "2"], "the next play begins with 3 again"


def test_a_pan_lasts_its_seconds_at_the_rate_that_the_radio_shows(drop: Drop, rules: Rulebook) -> None:
    pan = "pan = { from = [0, 0, 1, 1], to = [0.25, 0.25, 0.75, 0.75], seconds = 2 }\n"
    root = drop(frames=1, manifest=HEAD + f'[[part]]\nart = "lamps/*"\n{pan}')
    assert [len(sources(root, rules, rate)[0]) for rate in (10.0, 5.0)] == [20, 10]
    views = [s.view for s in sources(root, rules)[0]]
    assert views[0] == pytest.approx((0, 0, 48, 64)) and views[-1] == pytest.approx((12, 16, 36, 48))


def test_art_is_enlarged_by_panel_over_picture(drop: Drop, rules: Rulebook) -> None:
    root = drop(frames=2, size=(24, 32), manifest=HEAD)
    art = job_art(reading.read(root), survey(root, rules.intake), rules.intake)
    factors = FrameSources(art, root, (48, 64)).enlarged(Fit((48, 64), "cover", (0.5, 0.5)))
    assert factors == {"lamps/0001.png": 2.0, "lamps/0002.png": 2.0}
