"""What was made before is found again, and nobody can tell from the result."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from keyturn.commands import make_by_hand
from keyturn.package.frames_together import make_frames
from keyturn.pipeline import Bench, kept_results
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.settings import KeepSettings
from keyturn.workers.crew import InlineCrew
from samples import Drop, picture

TWO_RADIOS = 'customer = "Fern Hollow Mobile Library"\nradio = ["tiny", "other"]\n'


class Counting(InlineCrew):
    """A crew that notes which tasks it was given."""

    def __init__(self) -> None:
        self.tasks: list[str] = []

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        for result in super().run(task, jobs, names):
            self.tasks.append("make_frame" if task is make_frames else task.__name__)
            yield result


def tree(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


class Maker:
    """Makes drops, each time as another process would."""

    def __init__(self, bench: Bench, folder: Path) -> None:
        self._bench, self._folder, self._count = bench, folder, 0
        self.kept = KeptResults(folder / "kept", 2**28)

    def make(self, drop: Path, *, keeping: bool = True) -> tuple[dict[str, bytes], list[str]]:
        """What was made, and the tasks that workers did."""
        self._count += 1
        out, crew = self._folder / f"out-{self._count}", Counting()
        bench = replace(self._bench, crew=crew, kept=self.kept if keeping else None)
        make_by_hand.make(drop, out, bench.for_one_drop())
        return tree(out), crew.tasks

    def check(self, drop: Path) -> list[str]:
        crew = Counting()
        make_by_hand.check(drop, replace(self._bench, crew=crew, kept=self.kept).for_one_drop())
        return crew.tasks


def with_other(bench: Bench, width: int) -> Bench:
    """The bench with one more radio, `other`: "tiny" with a panel of another width."""
    tiny = bench.rules.radios["tiny"]
    other = tiny.model_copy(update={"name": "other", "panel": tiny.panel.model_copy(update={"width": width})})
    return replace(bench, rules=bench.rules.model_copy(update={"radios": {**bench.rules.radios, "other": other}}))


@pytest.fixture
def maker(bench: Bench, tmp_path: Path) -> Maker:
    return Maker(bench, tmp_path)


def test_the_same_bytes_come_out_with_and_without_what_was_kept(bench: Bench, drop: Drop, tmp_path: Path) -> None:
    """Two radios, one of which crops the art, so that every task is asked for."""
    maker = Maker(with_other(bench, 40), tmp_path)
    art = drop(frames=8, size=(60, 64), manifest=TWO_RADIOS)
    without, _ = maker.make(art, keeping=False)
    filling, done = maker.make(art)
    found, again = maker.make(art)
    assert done and again == []
    assert filling == without and found == without


def test_a_revision_makes_what_has_changed(maker: Maker, drop: Drop) -> None:
    art = drop(frames=12)
    first, done = maker.make(art)
    assert done.count("make_frame") >= 12
    picture((48, 64), 40).save(art / "lamps" / "0005.png")
    second, again = maker.make(art)
    assert again.count("make_frame") == 1
    assert second == maker.make(art, keeping=False)[0] and second != first


def test_another_rate_makes_no_frame(maker: Maker, drop: Drop) -> None:
    art = drop(frames=12)
    maker.make(art)
    text = (art / "job.toml").read_text()
    (art / "job.toml").write_text(f"{text}[motion]\nfps = 9\n")
    _, again = maker.make(art)
    assert "make_frame" not in again and "make_picture" not in again


def test_make_finds_what_check_made(maker: Maker, drop: Drop) -> None:
    art = drop(frames=6)
    assert "make_frame" in maker.check(art)
    assert maker.make(art)[1] == []


def test_another_drop_with_other_names_finds_the_pictures(maker: Maker, drop: Drop, tmp_path: Path) -> None:
    art = drop(frames=6)
    maker.make(art)
    other = tmp_path / "other"
    shutil.copytree(art, other)
    (other / "lamps").rename(other / "night")
    made, again = maker.make(other)
    assert "make_frame" not in again
    assert made == maker.make(other, keeping=False)[0]


def test_radios_of_one_look_share_their_frames(bench: Bench, drop: Drop, tmp_path: Path) -> None:
    """The boot logo is frame 1, so it is made once too."""
    maker = Maker(with_other(bench, 48), tmp_path)
    art = drop(frames=6, manifest=TWO_RADIOS)
    made, done = maker.make(art)
    assert done.count("make_frame") == 6
    assert made == maker.make(art, keeping=False)[0]


def test_settings_of_no_room_keep_nothing(tmp_path: Path) -> None:
    assert kept_results(tmp_path, KeepSettings(frames_gib=0)) is None
    assert kept_results(tmp_path, KeepSettings()) is not None


def test_a_tampered_folder_changes_nothing(maker: Maker, drop: Drop) -> None:
    """Every entry is broken in another way; all are made again."""
    art = drop(frames=6)
    before, done = maker.make(art)
    for number, entry in enumerate(path for path in sorted(maker.kept.folder.rglob("*")) if path.is_file()):
        data = bytearray(entry.read_bytes())
        data[(number * 37 + 33) % len(data)] ^= 1 << number % 8
        entry.write_bytes(data if number % 3 else data[: len(data) // 2])
    after, again = maker.make(art)
    assert after == before and len(again) == len(done)
    assert maker.make(art)[1] == []
