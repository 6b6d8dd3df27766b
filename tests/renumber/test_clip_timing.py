"""A stretch of a clip by start and stop, its pictures told one by one, and films through a whole job."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from film_samples import film, pictures
from keyturn import pipeline
from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.manifest.reading import parse_leniently
from keyturn.normalize.reading.clips import resample
from keyturn.pipeline import Bench
from keyturn.renumber.clip_timing import can_show_each_once, pictures_between, retiming_note
from keyturn.renumber.parts import JobArt, job_art
from keyturn.shop.reasons import Kind, Refused
from keyturn.shop.rulebook import Rulebook

HEAD = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n'
DURATIONS = st.lists(st.integers(20, 400), min_size=1, max_size=40)


def gif(path: Path, count: int = 10, each_ms: int = 100) -> None:
    frames = [Image.fromarray(p).convert("P") for p in pictures(count)]
    frames[0].save(path, save_all=True, append_images=frames[1:], duration=each_ms)


MAKERS: dict[str, Callable[[Path], object]] = {
    "van.gif": gif,
    "van.png": lambda path: _apng(path),
    "van.webp": lambda path: _apng(path),
    "van.mp4": lambda path: film(path, pictures(10), stamps=[100 * n for n in range(10)], last_ms=100),
    "van.webm": lambda path: film(
        path,
        pictures(10),
        stamps=[100 * n for n in range(10)],
        last_ms=100,
        codec="libvpx-vp9",
        options={"cpu-used": "8"},
    ),
}


def _apng(path: Path) -> None:
    frames = [Image.fromarray(p) for p in pictures(10)]
    frames[0].save(path, save_all=True, append_images=frames[1:], duration=100)


@pytest.fixture
def choose(tmp_path: Path, rules: Rulebook) -> Callable[..., JobArt]:
    def art(name: str, part: str, most: int | None = None) -> JobArt:
        root = tmp_path / "art"
        root.mkdir(exist_ok=True)
        if not (root / name).exists():
            MAKERS[name](root / name)
        (root / "job.toml").write_text(f'{HEAD}[[part]]\nart = "{name}"\n{part}')
        intake = rules.intake
        if most:
            intake = intake.model_copy(update={"caps": intake.caps.model_copy(update={"frames": most})})
        return job_art(reading.read(root), survey(root, intake), intake)

    return art


def refusals(caught: pytest.ExceptionInfo[Refused]) -> list[tuple[str, str | None]]:
    return [(r.code, r.field or r.file) for r in caught.value.reasons if r.kind is Kind.REFUSE]


@pytest.mark.parametrize("name", MAKERS)
def test_every_kind_of_clip_is_cut_to_its_stretch(
    tmp_path: Path, bench: Bench, choose: Callable[..., JobArt], name: str
) -> None:
    """Ten pictures of 100 ms: from 0.25 to 0.75 s pictures 2 to 7 are seen (arithmetic)."""
    choose(name, "start = 0.25\nstop = 0.75\n[motion]\nfps = 10\n")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    job = pipeline.understand(tmp_path / "art", "van", scratch, bench)
    shown = [source.index for source in job.plans[0].parts[0].sources]
    assert shown[0] == 2 and shown[-1] == 7 and len(shown) == 5
    assert shown == sorted(shown)


@pytest.mark.parametrize(
    ("part", "field"),
    [
        ("start = 2.0\nstop = 1.0\n", "part.1"),
        ("start = 1.0\nstop = 1.0\n", "part.1"),
        ("start = -1.0\n", "part.1.start"),
        ("stop = 0.0\n", "part.1.stop"),
        ('start = "one"\n', "part.1.start"),
    ],
)
def test_times_that_cannot_be_are_faults_of_the_manifest(part: str, field: str) -> None:
    _, reasons = parse_leniently(f'{HEAD}[[part]]\nart = "van.gif"\n{part}'.encode())
    assert [(r.code, r.field) for r in reasons] == [("manifest-value", field)]


def test_a_glide_has_no_stretch() -> None:
    text = f'{HEAD}[[part]]\nstart = 1.0\n[part.glide]\nframes = 9\npath = [[0.1, 0.5], [0.9, 0.5]]\ntext = "Fern"\n'
    _, reasons = parse_leniently(text.encode())
    assert [(r.code, r.field) for r in reasons] == [("manifest-value", "part.1")]
    assert "start and stop cut a clip" in reasons[0].what


def test_a_still_has_no_stretch(tmp_path: Path, choose: Callable[..., JobArt]) -> None:
    (tmp_path / "art").mkdir()
    Image.fromarray(pictures(1)[0]).save(tmp_path / "art" / "lamp.png")
    with pytest.raises(Refused) as caught:
        choose("lamp.png", "stop = 1.0\n")
    assert refusals(caught) == [("stretch-of-still", "part.1.stop")]


def test_a_start_beyond_the_end_is_refused_and_a_stop_beyond_it_noted(choose: Callable[..., JobArt]) -> None:
    with pytest.raises(Refused) as caught:
        choose("van.gif", "start = 1.0\n")
    assert refusals(caught) == [("start-beyond-end", "part.1.start")]
    assert "1.00 s" in caught.value.reasons[0].what
    art = choose("van.gif", "start = 0.9\nstop = 30.0\n")
    assert [(r.code, r.kind) for r in art.reasons] == [("stop-beyond-end", Kind.NOTE)]


def test_a_film_longer_than_a_job_may_be_is_taken_by_the_stretch(choose: Callable[..., JobArt]) -> None:
    with pytest.raises(Refused) as caught:
        choose("van.mp4", "", most=6)
    assert refusals(caught) == [("clip-too-long", "van.mp4")]
    assert "start and stop" in caught.value.reasons[0].mend
    art = choose("van.mp4", "start = 0.2\nstop = 0.8\n", most=6)
    assert art.parts[0].clip and art.probes["van.mp4"].frames == 10


@given(DURATIONS, st.floats(0, 20), st.floats(0, 20) | st.none())
def test_the_stretch_is_what_resample_can_show(durations: list[int], start: float, stop: float | None) -> None:
    """Against `resample` at a rate so high that no picture is left out (500 fps; the shortest stands 20 ms)."""
    frames = pictures_between(durations, start, stop)
    if not frames:
        assert start * 1000 >= min(sum(durations), sum(durations) if stop is None else stop * 1000)
        return
    end = sum(durations) if stop is None else min(sum(durations), stop * 1000)
    if end - start * 1000 < 1:
        return  # a stretch of less than the millisecond that durations are told in
    shown = resample(durations, 500, start, stop)
    assert (shown[0], shown[-1]) == (frames[0], frames[-1])


@given(DURATIONS, st.integers(1, 60))
def test_the_figures_add_up(durations: list[int], fps: int) -> None:
    shown = resample(durations, fps)
    frames = pictures_between(durations, 0.0, None)
    reason = retiming_note("van.gif", durations, frames, shown, fps)
    if reason is None:
        assert list(shown) == list(frames) and max(durations) - min(durations) <= 10
        return
    times = [shown.count(n) for n in range(len(durations))]
    told = [int(word) for word in reason.what.replace(":", "").split() if word.isdigit()]
    assert told[0] == len(durations) and told[-4:] == [
        len(shown),
        sum(t > 0 for t in times),
        sum(t > 1 for t in times),
        sum(t == 0 for t in times),
    ]


@pytest.mark.parametrize(("fps", "told"), [(10, []), (20, ["clip-retimed"]), (5, ["clip-retimed"])])
def test_the_note_reaches_the_sheet_where_a_rate_changes_the_clip(
    tmp_path: Path, bench: Bench, choose: Callable[..., JobArt], fps: int, told: list[str]
) -> None:
    choose("van.mp4", f"[motion]\nfps = {fps}\n")
    staging, scratch = tmp_path / "staging", tmp_path / "scratch"
    staging.mkdir(), scratch.mkdir()
    job = pipeline.understand(tmp_path / "art", "van", scratch, bench)
    made = pipeline.make(job, "c1", "van", 1, staging, scratch, bench)
    found = [r for r in made.record.radios[0].reasons if r.code == "clip-retimed"]
    assert [r.code for r in found] == told and all(r.kind is Kind.NOTE and r.file == "van.mp4" for r in found)
    assert made.record.radios[0].parts[0].frames == round(1 / job.plans[0].pacing.interval_s)


@pytest.mark.parametrize(
    ("interval_s", "lasts_s", "count", "kept"),
    [
        (0.1, 1.0, 10, True),
        (0.104, 1.0, 10, True),
        (0.0961, 1.0, 10, True),
        (0.106, 1.0, 10, False),
        (0.1, 0.5, 6, False),
    ],
)
def test_an_even_clip_near_the_radio_s_pace_is_shown_picture_by_picture(
    interval_s: float, lasts_s: float, count: int, kept: bool
) -> None:
    """Ten pictures of 100 ms: up to 5 % off is shown as it is; six of them for half a second are a fifth too long."""
    assert can_show_each_once([100] * 10, range(count), lasts_s, 1 / interval_s) is kept


def test_an_uneven_clip_is_not_shown_picture_by_picture() -> None:
    assert not can_show_each_once([50, 150] * 5, range(10), 1.0, 10)


def test_a_clip_lasts_on_an_additive_radio_what_it_lasts_by_itself(
    bench: Bench, choose: Callable[..., JobArt], tmp_path: Path
) -> None:
    """Of the rates an additive player can be asked for (1 / fps + its cost, AOSP cmds/bootanimation) "auto" takes the
    one that comes nearest to the clip's own 100 ms: 1/10 s + 50 ms would be half as long again."""
    slow = bench.rules.radios["tiny"]
    slow = slow.model_copy(update={"limits": slow.limits.model_copy(update={"draw_ms": 50.0})})
    bench = replace(bench, rules=bench.rules.model_copy(update={"radios": {"tiny": slow}}))
    choose("van.gif", "")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    (planned,) = pipeline.understand(tmp_path / "art", "van", scratch, bench).plans
    assert planned.fps == 20
    assert len(planned.parts[0].sources) == 10
    assert planned.once_only_s == pytest.approx(1.0, rel=0.05)


def test_the_hold_after_a_cut_film_is_the_last_picture_of_the_stretch(
    tmp_path: Path, bench: Bench, choose: Callable[..., JobArt]
) -> None:
    choose("van.mp4", "stop = 0.5\n[motion]\nfps = 10\n")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    job = pipeline.understand(tmp_path / "art", "van", scratch, bench)
    once, hold = job.plans[0].parts
    assert once.sources[-1].index == 4 and hold.sources == (replace(once.sources[-1]),)
