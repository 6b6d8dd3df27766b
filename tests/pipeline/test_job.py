"""What is known of a job before its frames are made."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from keyturn import pipeline
from keyturn.pipeline import Bench
from samples import Drop


def test_a_job_counts_the_frames_of_all_its_radios_and_names_its_folders(
    drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    """POSIX.1-2017, 3.282, "Portable Filename Character Set": the folders' names hold no other letters."""
    text = 'customer = "Fern Hollow: Łódź"\njob = "Van/2"\nradio = "tiny"\n'
    opened = pipeline.opened(drop(manifest=text), tmp_path, bench.rules)
    job = pipeline.understand(opened, "van", tmp_path, bench)
    assert job.frame_count == sum(len(part.sources) for plan in job.plans for part in plan.parts)
    assert len(job.plans) == 1 and job.row == 0
    assert all("/" not in name and ":" not in name for name in (job.customer_folder, job.job_folder))
    assert replace(job, name="Van/3").job_folder != job.job_folder
