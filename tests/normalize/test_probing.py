"""Who looks into which file: the service reads plain headers itself, and leaves the rest to workers under limits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from film_samples import fatal, film, pictures
from keyturn import pipeline
from keyturn.flatten.frame_source import Source
from keyturn.normalize import probing
from keyturn.normalize.fit import Fit
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.package.picture_tasks import Check, small
from keyturn.pipeline import Bench
from keyturn.renumber.patterns import is_art
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers import remote_job
from keyturn.workers.crew import InlineCrew, LocalCrew
from samples import picture

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 3 4"><rect width="3" height="4" fill="#0a0"/></svg>'
LOOK = Look(Fit((48, 64)), (0, 0, 0), 24, "png", 8.0, 320)


@dataclass
class Watched(InlineCrew):
    """Remembers which files came to the crew, task by task."""

    seen: dict[str, list[str]] = field(default_factory=dict)

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        jobs = list(jobs)
        self.seen.setdefault(task.__name__, []).extend(names(job) for job in jobs)
        return super().run(task, jobs, names)


@pytest.fixture
def odd_kinds(tmp_path: Path) -> dict[str, Path]:
    """A sound file of each kind that only a library can look into, and of three that the service can."""
    root = tmp_path / "art"
    root.mkdir()
    film(root / "van.mp4", pictures(6))
    film(root / "van.mov", pictures(6))
    film(root / "van.webm", pictures(6), codec="libvpx-vp9", options={"cpu-used": "8"})
    (root / "lamp.svg").write_text(SVG)
    pillow_heif.from_pillow(picture((48, 64), 1)).save(root / "fern.heic")
    picture((48, 64), 2).save(root / "fern.avif")
    picture((48, 64), 3).save(root / "hold.png")
    return {path.name: path for path in sorted(root.iterdir())}


@pytest.fixture
def workers(rules: Rulebook) -> Iterator[LocalCrew]:
    crew = LocalCrew(2, rules.intake.workers)
    yield crew
    crew.close()


def test_what_a_library_must_look_into_is_the_crews_work(odd_kinds: dict[str, Path], rules: Rulebook) -> None:
    crew = Watched()
    root = next(iter(odd_kinds.values())).parent
    probes, reasons = probing.probed(root, odd_kinds, rules.intake, probing.by(crew), {})
    assert list(probes) == list(odd_kinds) and not reasons
    assert crew.seen == {"look": [name for name in odd_kinds if name != "hold.png"]}


def test_reasons_come_in_the_order_of_the_names(tmp_path: Path, rules: Rulebook) -> None:
    (tmp_path / "a.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    (tmp_path / "b.png").write_bytes(b"")
    (tmp_path / "c.mp4").write_bytes(b"\0\0\0\x10ftypisom\0\0\0\0")
    names = ["c.mp4", "b.png", "a.svg"]
    probes, reasons = probing.probed(tmp_path, names, rules.intake, probing.here, {})
    assert not probes and [r.file for r in reasons] == names


def test_workers_look_into_every_kind_and_draw_it_within_their_limits(
    odd_kinds: dict[str, Path], rules: Rulebook, workers: LocalCrew
) -> None:
    """2 GiB of address space, no file written, 64 files open: the limits a worker of the shop has."""
    root = next(iter(odd_kinds.values())).parent
    probes, _ = probing.probed(root, odd_kinds, rules.intake, probing.by(workers), {})
    assert list(probes) == list(odd_kinds)
    jobs = [
        FrameJob(Source(path, name, index), LOOK, rules.intake)
        for name, path in odd_kinds.items()
        for index in (range(probes[name].frames) if probes[name].frames > 1 else [None])
    ]
    there = list(workers.run(make_frame, jobs, lambda job: job.source.name))
    here = [make_frame(job) for job in jobs]
    assert [getattr(done, "digest", done) for done in there] == [done.digest for done in here]


def test_a_large_film_fits_into_a_worker(tmp_path: Path, rules: Rulebook, workers: LocalCrew) -> None:
    """1920 x 1080 of H.264 with sixteen pictures to look back on, which is the most that the standard has."""
    y, x = np.mgrid[0:1080, 0:1920]
    drawn = [np.stack([x * n % 256, y % 256, (x + y) % 256], -1).astype(np.uint8) for n in range(1, 7)]
    options = {"preset": "ultrafast", "refs": "16", "crf": "30"}
    path = film(tmp_path / "van.mp4", drawn, codec="libx264", options=options)
    jobs = [FrameJob(Source(path, "van.mp4", index), LOOK, rules.intake) for index in range(6)]
    assert not any(isinstance(r, Refused) for r in workers.run(make_frame, jobs, lambda job: job.source.name))


def test_a_worker_that_a_header_ends_costs_its_drop_a_reason(
    drop: Callable[..., Path], tmp_path: Path, rules: Rulebook, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = drop(manifest='customer = "C"\nradio = "tiny"\n[[part]]\nart = "van.mp4"\n')
    film(root / "van.mp4", pictures(6))
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(probing, "look", fatal)
    crew = LocalCrew(1, rules.intake.workers)
    try:
        with pytest.raises(Refused) as caught:
            pipeline.understand(root, "van", scratch, replace(bench, crew=crew))
    finally:
        crew.close()
    assert [(r.code, r.file) for r in caught.value.reasons if r.file == "van.mp4"] == [
        ("picture-defeats-reader", "van.mp4")
    ]


def test_the_rejects_page_has_a_picture_of_every_kind(odd_kinds: dict[str, Path], rules: Rulebook) -> None:
    for name, path in odd_kinds.items():
        assert is_art(name)
        made = small(Check(Source(path, name), rules.intake))
        assert made[:4] == b"RIFF" and made[8:12] == b"WEBP"


def test_films_and_drawings_travel_to_a_cluster(odd_kinds: dict[str, Path], tmp_path: Path, rules: Rulebook) -> None:
    """Packed and unpacked where the files have other names, as on another machine: the same bytes."""
    away = tmp_path / "away"
    away.mkdir()

    def enclose(path: Path) -> str:
        name = f"copy{len(list(away.iterdir()))}"
        (away / name).write_bytes(path.read_bytes())
        return name

    for name, path in odd_kinds.items():
        job = FrameJob(Source(path, name, 3 if name.startswith("van") else None), LOOK, rules.intake)
        there: FrameJob = remote_job.unpacked(remote_job.packed(job, enclose), away)
        assert there.source.path and there.source.path.parent == away
        assert make_frame(there).data == make_frame(job).data


def test_a_drop_of_every_kind_is_made(odd_kinds: dict[str, Path], tmp_path: Path, bench: Bench) -> None:
    """Each kind as a part of its own, with a film as the logo: through the whole line."""
    root = next(iter(odd_kinds.values())).parent
    parts = "".join(
        f'[[part]]\nart = "{name}"\nstop = 0.12\n' if "van" in name else f'[[part]]\nart = "{name}"\n'
        for name in odd_kinds
    )
    (root / "job.toml").write_text(f'customer = "C"\nradio = "tiny"\n[logo]\nart = "van.mov"\n{parts}')
    staging, scratch = tmp_path / "staging", tmp_path / "scratch"
    staging.mkdir()
    scratch.mkdir()
    job = pipeline.understand(root, "van", scratch, bench)
    made = pipeline.make(job, "c1", "van", 1, staging, scratch, bench)
    assert [p.art for p in made.record.radios[0].parts][:-1] == list(odd_kinds)
    with Image.open(staging / "usb" / "logo.png") as logo:
        assert logo.size == (48, 64)


def test_large_files_and_very_many_are_probed_by_the_crew_whatever_they_are(
    tmp_path: Path, rules: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clip is walked block by block. GIF89a, section 24: a comment extension of empty blocks is a few bytes."""
    picture((48, 64), 1).save(tmp_path / "1.gif")
    sound = (tmp_path / "1.gif").read_bytes()
    for number in (2, 3):
        (tmp_path / f"{number}.gif").write_bytes(sound)
    monkeypatch.setattr(probing, "NEAR_MOST_BYTES", 5 * len(sound))
    monkeypatch.setattr(probing, "NEAR_MOST_IN_ALL", 2 * len(sound))
    (tmp_path / "large.gif").write_bytes(sound[:-1] + b"!\xfe\x00" * 2 * len(sound) + b";")
    asked: list[str] = []

    def crew(jobs: Iterable[probing.ProbeJob]) -> list[Any]:
        asked.extend(job.name for job in jobs)
        return list(probing.here(list(jobs)))

    probes, _ = probing.probed(tmp_path, ["large.gif", "1.gif", "2.gif", "3.gif"], rules.intake, crew, {})
    assert asked == ["large.gif", "3.gif"] and {probe.size for probe in probes.values()} == {(48, 64)}
