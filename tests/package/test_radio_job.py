"""How a radio's frames are to look: what differs between its frames and its logo."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from keyturn import pipeline
from keyturn.package.radio_job import THUMB_FRAMES, RadioJob
from keyturn.pipeline import Bench
from samples import Drop, with_player


@pytest.fixture
def job(drop: Drop, bench: Bench, tmp_path: Path) -> RadioJob:
    understood = pipeline.understand(drop(), "van", tmp_path, bench)
    record = pipeline._unmade_record(understood, "claim", "van", 1, bench)
    return RadioJob(understood.plans[0], understood.manifest, bench.rules, tmp_path, tmp_path, record, 6)


def test_the_logo_is_never_cropped_for_no_player_reads_its_place(job: RadioJob) -> None:
    radio = with_player(job.plan.radio, trim=True, row_colour=True)
    crops = replace(job, plan=replace(job.plan, radio=radio))
    assert (crops.look().trim, crops.look(logo=True).trim) == ("any", "none")


def test_small_pictures_shrink_with_the_root_of_their_number(job: RadioJob) -> None:
    """Four times as many pictures have half the sides, and so take about as many bytes in all."""
    full = replace(job, sheet_frames=THUMB_FRAMES).look().thumb_px
    assert job.look().thumb_px == full
    assert replace(job, sheet_frames=4 * THUMB_FRAMES).look().thumb_px == full // 2
    assert replace(job, sheet_frames=10**6).look().thumb_px == 64


def test_one_frame_more_seldom_makes_all_small_pictures_anew(job: RadioJob) -> None:
    sizes = [replace(job, sheet_frames=frames).look().thumb_px for frames in range(1, 4000)]
    assert sizes == sorted(sizes, reverse=True) and len(set(sizes)) == 10
