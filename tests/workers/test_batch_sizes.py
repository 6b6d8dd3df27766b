"""How many jobs travel together."""

from __future__ import annotations

import pytest

from keyturn.workers.batch_sizes import MOST_TOGETHER, OF_A_SHARE, TOGETHER_S, BatchSizes

LONG_RUN = 10**6


@pytest.fixture
def sizes() -> BatchSizes:
    return BatchSizes()


def test_what_nobody_has_done_yet_goes_job_by_job(sizes: BatchSizes) -> None:
    sizes.learn("look", 1, 0.001)
    assert sizes.size("make_frame", LONG_RUN, 2) == 1


@pytest.mark.parametrize(
    ("seconds", "together"), [(0.0, MOST_TOGETHER), (TOGETHER_S / 3.5, 3), (TOGETHER_S, 1), (9.0, 1)]
)
def test_a_batch_is_short_work(sizes: BatchSizes, seconds: float, together: int) -> None:
    sizes.learn("make_frame", 4, 4 * seconds)
    assert sizes.size("make_frame", LONG_RUN, 2) == together


def test_the_last_jobs_tell_most_about_the_next(sizes: BatchSizes) -> None:
    for _ in range(20):
        sizes.learn("make_frame", 1, 5.0)
    assert sizes.size("make_frame", LONG_RUN, 2) == 1
    for _ in range(20):
        sizes.learn("make_frame", 1, 0.01)
    assert sizes.size("make_frame", LONG_RUN, 2) == MOST_TOGETHER


@pytest.mark.parametrize("workers", [1, 2, 8, 32])
@pytest.mark.parametrize("frames", [24, 48, 400, 2000])
def test_no_worker_has_much_to_do_when_the_others_are_done(sizes: BatchSizes, workers: int, frames: int) -> None:
    """However many jobs there turn out to be: the last batch is a small part of what each worker had."""
    sizes.learn("make_frame", 1, 0.001)
    sent, last = 0, 0
    while sent < frames:
        last = sizes.size("make_frame", sent, workers)
        sent += last
    assert last <= max(1, frames / workers / OF_A_SHARE)
