"""A drop of films is told from a job's by its manifest; what is wrong with it is said with its customer."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from film_series import read_series, write_film
from keyturn import pipeline
from keyturn.calibrate import films
from keyturn.pipeline import Bench, calibration
from keyturn.pipeline.calibration import FilmDrop, FilmsStored, build, command_for, learnt, of_films, store
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Refused
from samples import Drop

ONE_LINE = 'calibrate = "tiny"\n'


@pytest.fixture(autouse=True)
def series(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(films, "read_film", read_series)


def film_drop(folder: Path, manifest: str = ONE_LINE, count: int = 2) -> Path:
    folder.mkdir()
    (folder / "job.toml").write_text(manifest, encoding="utf-8")
    for n in range(count):
        write_film(folder / f"start{n}.mp4", n, boot_ms=12_930 + 700 * n)
    return folder


def opened(drop: Path, tmp_path: Path, bench: Bench) -> FilmDrop | None:
    scratch = tmp_path / "scratch"
    scratch.mkdir(exist_ok=True)
    return of_films(pipeline.opened(drop, scratch, bench.rules), bench)


def test_a_job_s_drop_is_none(drop: Drop, tmp_path: Path, bench: Bench) -> None:
    assert opened(drop(frames=1), tmp_path, bench) is None


def test_one_line_is_a_whole_manifest(tmp_path: Path, bench: Bench) -> None:
    folder = film_drop(tmp_path / "films")
    (folder / "notes.txt").write_text("cold morning", encoding="utf-8")
    found = opened(folder, tmp_path, bench)
    assert found and found.radio.name == "tiny" and found.manifest.customer == "Calibration"
    assert list(found.films) == ["start0.mp4", "start1.mp4"]
    assert [(reason.code, reason.file) for reason in found.reasons] == [("film-left-out", "notes.txt")]
    named = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\ncalibrate = "tiny"\n'
    again = opened(film_drop(tmp_path / "named", named), tmp_path, bench)
    assert again and again.manifest.customer == "Fern Hollow Mobile Library"


@pytest.mark.parametrize(
    ("manifest", "count", "code"),
    [
        ('calibrate = "tinny"\n', 1, "radio-unknown"),
        (ONE_LINE, 0, "films-missing"),
        (ONE_LINE, calibration.MOST_FILMS + 1, "films-missing"),
        (f"{ONE_LINE}colour = 3\n", 1, "manifest-key-unknown"),
    ],
)
def test_what_is_wrong_is_told(tmp_path: Path, bench: Bench, manifest: str, count: int, code: str) -> None:
    with pytest.raises(Refused) as caught:
        opened(film_drop(tmp_path / "films", manifest, count), tmp_path, bench)
    assert code in {reason.code for reason in caught.value.reasons}
    assert caught.value.customer == "Calibration"


def test_films_are_no_job(tmp_path: Path, bench: Bench) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with pytest.raises(Refused) as caught:
        pipeline.understand(film_drop(tmp_path / "films"), "films", scratch, bench)
    (reason,) = caught.value.reasons
    assert reason.code == "films-not-a-job" and "keyturn calibrate tiny --film" in reason.mend


def test_a_film_that_cannot_be_read_refuses_the_drop(tmp_path: Path, bench: Bench) -> None:
    folder = film_drop(tmp_path / "films")
    (folder / "start0.mp4").write_bytes((folder / "start0.mp4").read_bytes()[:40])
    found = opened(folder, tmp_path, bench)
    assert found
    with pytest.raises(Refused) as caught:
        learnt(found, bench)
    assert caught.value.customer == "Calibration" and [reason.file for reason in caught.value.reasons] == ["start0.mp4"]


@pytest.mark.parametrize("stored", [True, False])
def test_page_picture_and_record_say_whether_it_is_stored(
    stored: bool, tmp_path: Path, bench: Bench, shop: Shop
) -> None:
    found = opened(film_drop(tmp_path / "films"), tmp_path, bench)
    assert found
    lesson, staging = learnt(found, bench), tmp_path / "staging"
    staging.mkdir()
    kept = store(found, lesson, shop.rules, bench) if stored else None
    command = command_for(found, found.found.root, tmp_path / "archive" / "films--c", shop.root)
    record = build(found, lesson, FilmsStored(kept, command), "c", "films", staging, bench)
    assert sorted(path.name for path in staging.iterdir()) == [
        "calibration.html",
        "calibration.json",
        "calibration.svg",
    ]
    assert json.loads((staging / "calibration.json").read_text())["boots_s"] == list(record.boots_s)
    assert record.boots_s == pytest.approx((12.91, 13.61), abs=0.02)
    page = (staging / "calibration.html").read_text(encoding="utf-8")
    assert record.stored == stored
    assert ("2 added to 0 kept" in page) == stored
    assert (record.command == command and "keyturn calibrate tiny --film" in page) != stored


def test_the_command_names_the_films_in_the_archive(tmp_path: Path, bench: Bench) -> None:
    found = opened(film_drop(tmp_path / "films"), tmp_path, bench)
    assert found
    told = command_for(found, tmp_path / "films", Path("/a b/archive/x--c"), Path("/srv/keyturn"))
    films_in = "'/a b/archive/x--c/start0.mp4' '/a b/archive/x--c/start1.mp4'"
    assert told == f"keyturn calibrate tiny --film {films_in} --root /srv/keyturn"
    packed = command_for(found, tmp_path / "elsewhere", Path("/archive/x--c"), Path("/srv/keyturn"))
    assert "--film start0.mp4 start1.mp4" in packed and packed.endswith("(where /archive/x--c is unpacked)")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_rules_that_may_not_be_written_are_left_alone(tmp_path: Path, bench: Bench, shop: Shop) -> None:
    found = opened(film_drop(tmp_path / "films"), tmp_path, bench)
    assert found
    (shop.rules / "radios").chmod(0o555)
    try:
        assert store(found, learnt(found, bench), shop.rules, bench) is None
    finally:
        (shop.rules / "radios").chmod(0o755)
