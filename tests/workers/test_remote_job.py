"""A job packed with its files, the versions that machines must share, and a thread that runs packed jobs."""

from __future__ import annotations

import os
import pickle
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

if find_spec("distributed") is None:
    if os.environ.get("CI"):
        raise ModuleNotFoundError("distributed is not installed (extra cluster, part of the extra test)")
    pytest.skip('distributed is not installed (pip install -e ".[cluster]")', allow_module_level=True)

from cluster_tasks import Drawing, size_of
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused, ShopFault
from keyturn.workers import remote_job
from keyturn.workers.remote_job import JobRunner
from samples import odd, square


@pytest.fixture
def runner(tmp_path: Path) -> Iterator[JobRunner]:
    made = JobRunner(str(tmp_path))
    yield made
    made.close()


def packed_job(task: object, job: object, name: str = "van.png") -> bytes:
    limits = rulebook.load().intake.workers
    return remote_job.packed((limits, "", task, [job], [name]), lambda path: path.name)


def files_of(folder: Path) -> set[str]:
    return {path.name for path in folder.glob("keyturn-*/*")}


def test_every_path_becomes_a_name_and_then_a_path_elsewhere() -> None:
    job = Drawing(Path("/inbox/van/a.png"), (Path("/inbox/van/b.png"), Path("/inbox/van/c.png")), 7)
    asked: list[Path] = []

    def name_of(path: Path) -> str:
        asked.append(path)
        return f"copy-{path.name}"

    pickled = remote_job.packed(job, name_of)
    assert asked == [job.art, *job.layers]
    assert b"/inbox" not in pickled and b"inbox" not in pickled
    there = Path("/elsewhere")
    assert remote_job.unpacked(pickled, there) == Drawing(
        there / "copy-a.png", (there / "copy-b.png", there / "copy-c.png"), 7
    )


def test_a_packed_path_cannot_be_read_without_its_folder() -> None:
    """Python's own pickle refuses persistent ids, so no path of the service is taken for one of the worker's."""
    with pytest.raises(pickle.UnpicklingError, match="persistent"):
        pickle.loads(remote_job.packed([Path("/inbox/a.png")], lambda path: path.name))


def test_equal_versions_pass_and_each_difference_is_named() -> None:
    ours = {"Python": "3.11", "pillow": "13.0", "av": "none"}
    remote_job.require_same("tcp://10.0.0.5:1", dict(ours), ours)
    with pytest.raises(ShopFault) as caught:
        remote_job.require_same("tcp://10.0.0.5:1", {"Python": "3.11", "pillow": "12.0"} | {"av": "16.0"}, ours)
    what = "the cluster's worker tcp://10.0.0.5:1 has pillow 12.0 instead of 13.0, av 16.0 instead of none"
    assert caught.value.what == what


def test_a_missing_version_counts_as_none() -> None:
    with pytest.raises(ShopFault, match=r"has pillow none instead of 13\.0"):
        remote_job.require_same("tcp://10.0.0.5:1", {}, {"pillow": "13.0"})


def test_jobs_give_their_results_and_refusals(runner: JobRunner) -> None:
    assert runner.run(packed_job(square, 7), {}).results == [49]
    (refused,) = runner.run(packed_job(odd, 3, "3.png"), {}).results
    assert isinstance(refused, Refused) and refused.reasons[0].file == "3.png"


def test_jobs_that_came_together_are_done_in_their_order_and_one_that_dies_costs_itself(runner: JobRunner) -> None:
    limits, names = rulebook.load().intake.workers, [f"{n}.png" for n in range(1, 7)]
    done = runner.run(remote_job.packed((limits, "", odd, range(1, 7), names), str), {})
    assert [r for r in done.results if not isinstance(r, Refused)] == [1, 2, 4, 6]
    assert [r.reasons[0].file for r in done.results if isinstance(r, Refused)] == ["3.png", "5.png"]
    assert done.seconds > 0


def test_a_job_reads_the_files_sent_with_it(runner: JobRunner, tmp_path: Path) -> None:
    job = Drawing(Path("/gone/a.png"), (Path("/gone/b.png"), Path("/gone/c.png")), 1)
    files = {"a.png": b"x" * 5, "b.png": b"x" * 20, "c.png": b"x" * 300}
    assert runner.run(packed_job(size_of, job), files).results == [(5, 320)]
    assert files_of(tmp_path) == set(files)


def test_files_used_longest_ago_are_deleted_first(
    runner: JobRunner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(remote_job, "KEPT_BYTES", 100)
    for files in ({"a": b"x" * 40}, {"b": b"x" * 40}, {"a": b"x" * 40}, {"c": b"x" * 40}):
        runner.run(packed_job(square, 2), files)
    assert files_of(tmp_path) == {"a", "c"}


def test_the_files_of_the_job_stay_however_large(
    runner: JobRunner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(remote_job, "KEPT_BYTES", 100)
    runner.run(packed_job(square, 2), {"a": b"x" * 80, "b": b"x" * 80})
    assert files_of(tmp_path) == {"a", "b"}
