"""A part that holds stills and clips at once: one reason, one choice."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.renumber.parts import job_art
from keyturn.renumber.stills_and_clips import stills_of
from keyturn.shop.reasons import Kind, Refused
from keyturn.shop.rulebook import Rulebook
from samples import picture

FRAMES = ("lamps/1.png", "lamps/2.png", "lamps/3.png")


def test_a_preview_of_the_frames_is_left_out_and_told() -> None:
    stills, (reason,) = stills_of(("lamps/Preview.gif", *FRAMES), {"lamps/Preview.gif"})
    assert (stills, reason.kind, reason.file) == (FRAMES, Kind.MENDED, "lamps/Preview.gif")


def test_another_clip_among_stills_is_asked_about_with_both_lines() -> None:
    _, (reason,) = stills_of((*FRAMES, "lamps/steam.gif"), {"lamps/steam.gif"})
    assert (reason.code, reason.kind, reason.file) == ("clip-among-stills", Kind.REFUSE, "lamps/steam.gif")
    assert 'art = "lamps/*.png"' in reason.mend and 'art = "lamps/steam.gif"' in reason.mend


def test_live_photos_are_one_choice() -> None:
    """A phone's live photo is a photograph and a film of one name, IMG_0001.HEIC and IMG_0001.MOV (common practice)."""
    names = ("IMG_1.HEIC", "IMG_1.MOV", "IMG_2.HEIC", "IMG_2.MOV")
    stills, (reason,) = stills_of(names, {"IMG_1.MOV", "IMG_2.MOV"})
    assert stills == ("IMG_1.HEIC", "IMG_2.HEIC")
    assert (reason.code, reason.file) == ("live-photo", "IMG_1.MOV") and "IMG_1.HEIC" in reason.what
    assert 'art = "*.HEIC"' in reason.mend and 'art = "IMG_1.MOV"' in reason.mend


def test_clips_alone_want_a_part_each() -> None:
    _, (reason,) = stills_of(("a.gif", "b.gif"), {"a.gif", "b.gif"})
    assert reason.code == "clip-among-stills" and "[[part]]" in reason.mend


@pytest.mark.parametrize("clip", ["preview.gif", "1.gif"])
def test_in_a_drop_there_is_one_reason(tmp_path: Path, rules: Rulebook, clip: str) -> None:
    frames = [picture((48, 64), n) for n in range(3)]
    for number, frame in enumerate(frames, 1):
        frame.save(tmp_path / f"{number}.png")
    frames[0].save(tmp_path / clip, save_all=True, append_images=frames[1:], duration=100)
    (tmp_path / "job.toml").write_text('customer = "C"\nradio = "tiny"\n')
    found, job = survey(tmp_path, rules.intake), reading.read(tmp_path)
    if clip == "preview.gif":
        art = job_art(job, found, rules.intake)
        assert art.parts[0].names == ("1.png", "2.png", "3.png")
        assert [r.code for r in art.reasons] == ["preview-left-out"]
    else:
        with pytest.raises(Refused) as caught:
            job_art(job, found, rules.intake)
        assert [r.code for r in caught.value.reasons] == ["live-photo"]
