"""What one row names for itself is no picture of another row."""

from __future__ import annotations

from pathlib import Path

from keyturn.inbox.survey import Survey
from keyturn.manifest.models import Manifest
from keyturn.normalize.drop_files import DropFiles
from keyturn.pipeline.fleet_art import FleetArt
from keyturn.renumber.parts import LookedInto


def row(logo: str, backdrop: str) -> Manifest:
    part = {"art": "*", "backdrop": backdrop}
    return Manifest.model_validate({"customer": "Fern", "radio": "tiny", "logo": {"art": logo}, "part": [part]})


def test_the_logo_and_the_scenes_of_other_rows_are_left_out_and_numbered_frames_are_not() -> None:
    files = ("0001.png", "0002.png", "1-logo.png", "2-logo.png", "dusk.png", "meadow.png")
    known = LookedInto(DropFiles(frozenset(files), {}, ()))
    rows = [row("1-logo.png", "Dusk.png"), row("2-logo.png", "meadow.png"), row("2-logo.png", "0002.png")]
    art = FleetArt.of(Survey(Path(), files, ()), known, rows)
    left = [set(files).difference(art.for_row(manifest)[0].files) for manifest in rows]
    assert left == [{"2-logo.png", "meadow.png"}, {"1-logo.png", "dusk.png"}, {"1-logo.png", "dusk.png", "meadow.png"}]
    assert all(set(art.for_row(each)[0].files) == art.for_row(each)[1].files.art for each in rows)


def test_what_every_row_names_is_left_to_all() -> None:
    files = ("0001.png", "logo.png", "dusk.png")
    art = FleetArt.of(
        Survey(Path(), files, ()), LookedInto(DropFiles(frozenset(files), {}, ())), [row("logo.png", "dusk.png")] * 2
    )
    assert art.for_row(row("logo.png", "dusk.png"))[0] is art.found
