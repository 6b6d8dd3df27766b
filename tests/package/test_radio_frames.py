"""A radio's frames: broken pictures are told together, and a job's progress counts every frame."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.package.radio_frames import BROKEN_SHOWN
from keyturn.pipeline import Bench
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Kind, Refused
from samples import Drop
from slow_crew import slow_bench


def test_of_very_many_broken_pictures_the_first_are_told(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop(frames=BROKEN_SHOWN + 20)
    for path in sorted((root / "lamps").iterdir()):
        data = bytearray(path.read_bytes())
        data[data.index(b"IDAT") + 12] ^= 0xFF  # found when it is decoded, not when its header is read
        path.write_bytes(data)
    with pytest.raises(Refused) as caught:
        make_by_hand.make(root, tmp_path / "out", bench)
    refused = [reason for reason in caught.value.reasons if reason.kind is Kind.REFUSE]
    assert BROKEN_SHOWN <= len({reason.file for reason in refused}) < BROKEN_SHOWN + 20


def test_broken_pictures_are_told_where_the_drop_s_time_ends(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    root = drop(frames=9)
    path = root / "lamps" / "0002.png"
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(Refused) as caught:
        make_by_hand.make(root, tmp_path / "out", slow_bench(bench, drop_seconds=100, job_seconds=30))
    refused = [reason for reason in caught.value.reasons if reason.kind is Kind.REFUSE]
    assert [reason.file for reason in refused if reason.code != "drop-takes-too-long"] == ["lamps/0002.png"]
    assert len(refused) == 2


def test_every_frame_is_counted_once_with_the_hold(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    progress = Progress(lambda *said: told.append(said))
    made = make_by_hand.make(drop(frames=6), tmp_path / "out", replace(bench, progress=progress))
    frames = sum(part.frames for part in made.made.record.radios[0].parts)
    assert [done for stage, done, _ in told if stage == "frames"] == list(range(frames + 1))
    assert told[-1] == ("papers", frames, frames)
