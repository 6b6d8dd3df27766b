"""A part's pictures that are not frames by themselves."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.manifest.models import Part
from keyturn.normalize.reading.probe import Probe
from keyturn.normalize.reading.stills import probe
from keyturn.renumber.extra_pictures import clip_reasons, extra_pictures, with_real_names
from keyturn.shop.rulebook import Rulebook
from samples import picture

FILES = ("Lake.png", "night.png", "van.png", "a/van.png")
GLIDE = {"backdrop": "lake.png", "sprite": "van.png", "path": [[0, 0.5], [1, 0.5]], "frames": 3}


def dissolving(backdrop: str = "lake.png", to: str = "night.png") -> Part:
    part = {"art": "*.png", "backdrop": backdrop, "crossfade": {"to": to, "frames": 3}}
    return Part.model_validate(part)


def gliding(**more: object) -> Part:
    return Part.model_validate({"glide": GLIDE | more})


def test_backdrop_sprite_and_the_picture_dissolved_into_are_extra() -> None:
    assert extra_pictures(dissolving()) == ["lake.png", "night.png"]
    assert extra_pictures(gliding()) == ["lake.png", "van.png"]
    assert extra_pictures(Part.model_validate({"art": "*.png"})) == []


@pytest.mark.parametrize("part", [dissolving(), gliding()])
def test_they_are_called_as_the_files_are(part: Part) -> None:
    real, reasons = with_real_names(part, 1, FILES, None)
    assert extra_pictures(real)[0] == "Lake.png"
    assert [r.code for r in reasons] == ["capitals-differ"]


def test_a_missing_one_is_refused_with_its_field_and_keeps_its_name() -> None:
    part, reasons = with_real_names(dissolving(to="gone.png"), 2, FILES, None)
    assert [(r.code, r.field) for r in reasons if r.code != "capitals-differ"] == [
        ("picture-missing", "part.2.crossfade.to")
    ]
    assert extra_pictures(part) == ["Lake.png", "gone.png"]


def test_a_dissolve_from_the_logo_finds_the_job_s_own() -> None:
    part = Part.model_validate({"art": "*.png", "crossfade": {"from": "logo", "frames": 3}})
    real, reasons = with_real_names(part, 1, FILES, "brand/logo.webp")
    assert (extra_pictures(real), reasons) == (["brand/logo.webp"], [])
    (reason,) = with_real_names(part, 3, FILES, None)[1]
    assert reason.code == "logo-missing" and reason.field == "part.3.crossfade"
    assert "frame 1 is the logo" in reason.what and "logo.png" in reason.mend


def test_a_clip_is_refused_where_a_still_is_wanted(tmp_path: Path, rules: Rulebook) -> None:
    frames = [picture((8, 8), n) for n in range(3)]
    frames[0].save(tmp_path / "moving.gif", save_all=True, append_images=frames[1:], duration=100)
    frames[0].save(tmp_path / "still.png")
    probes: dict[str, Probe] = {
        name: probe(tmp_path / name, rules.intake, name=name) for name in ("moving.gif", "still.png")
    }
    found = clip_reasons(["moving.gif", "still.png", "unread.png"], probes)
    assert [(r.code, r.file) for r in found] == [("clip-as-still", "moving.gif")]


@pytest.mark.parametrize("wanted", ["a", "a/", "A/"])
def test_art_that_names_a_folder_means_its_pictures(wanted: str) -> None:
    part, (reason,) = with_real_names(Part(art=wanted), 2, FILES, None)
    assert part.art == "a/*"
    assert (reason.kind, reason.field) == ("mended", "part.2.art")
    assert reason.what == f'"{wanted}" is a folder, and was read as "a/*"'


@pytest.mark.parametrize("wanted", ["*", "van.png", "a/*", "a/van.png", "b"])
def test_other_art_stays_as_it_is(wanted: str) -> None:
    assert with_real_names(Part(art=wanted), 1, FILES, None) == (Part(art=wanted), [])
