"""What a worker process may use, and that it ends with the service."""

from __future__ import annotations

from pathlib import Path

import pytest

from crew_programs import living, program, told, until
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.workers import worker_limits
from keyturn.workers.crew import LocalCrew
from samples import odd


@pytest.mark.parametrize("way", ["alone", "threaded"])
def test_each_worker_has_its_limits(way: str) -> None:
    limits = {"AS": rulebook.load().intake.workers.memory_mib * 2**20, "NOFILE": worker_limits.OPEN_FILES, "FSIZE": 0}
    assert [w["limits"] for w in told(f"{way} born")[1]] == [limits] * 2


@pytest.mark.parametrize("way", ["alone", "threaded"])
def test_when_the_service_is_killed_neither_a_hanging_worker_nor_the_fork_server_stays(way: str) -> None:
    running = program(way, "hang")
    assert running.stdout
    assert [running.stdout.readline() for _ in range(2)] == ["hangs\n"] * 2
    assert len(living(running.pid)) >= 3
    running.kill()
    until(lambda: not living(running.pid))
    running.wait()
    running.stdout.close()


def test_a_job_that_burns_the_processor_or_writes_a_file_is_stopped() -> None:
    """setrlimit(2): RLIMIT_CPU ends the process with SIGXCPU, RLIMIT_FSIZE refuses the write."""
    crew = LocalCrew(1, rulebook.load().intake.workers.model_copy(update={"wall_seconds": 60.0, "cpu_seconds": 1}))
    try:
        spinning, good = crew.run(odd, [11, 2], lambda n: f"{n}.png")
        assert isinstance(spinning, Refused) and good == 2
        with pytest.raises(OSError, match="too large"):
            list(crew.run(odd, [12], str))
    finally:
        crew.close()
        Path("/dev/shm/keyturn-test").unlink(missing_ok=True)
