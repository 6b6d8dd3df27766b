"""Where workers come from: what they share, that no thread is lost by a fork, and that none outlives the service."""

from __future__ import annotations

import importlib.metadata
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import keyturn
from keyturn.package import PRELOAD
from keyturn.shop import rulebook
from keyturn.workers import worker_limits
from keyturn.workers.crew import LocalCrew
from samples import square

HERE = Path(__file__).parents[1]
PATIENCE_S = 60.0


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def program(*words: str) -> subprocess.Popen[str]:
    """A program with a crew, in a session of its own."""
    command = [sys.executable, str(HERE / "crew_tasks.py"), *words]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True)


def living(session: int) -> set[int]:
    """Processes of the session that have not ended, by proc(5): the session is the fourth word after the name."""
    found = set()
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, _, its_session, *_ = stat.read_text().rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        if state not in "ZX" and int(its_session) == session:
            found.add(int(stat.parent.name))
    return found


def told(words: str) -> tuple[int, list[dict[str, Any]]]:
    running = program(*words.split())
    said = json.loads(running.communicate(timeout=PATIENCE_S)[0])
    until(lambda: not living(running.pid))
    return said["pid"], said["found"]


def test_a_program_of_one_thread_forks_its_workers_itself() -> None:
    pid, workers = told("alone born")
    assert [(w["parent"], w["warm"]) for w in workers] == [(pid, True)] * 2


def test_one_with_more_threads_has_a_fork_server_that_is_warm_and_runs_none() -> None:
    """fork(2): a child has only the thread that forked, and no lock that another held is ever given back."""
    pid, workers = told("threaded born")
    (server,) = {w["parent"] for w in workers}
    assert server != pid
    assert [(w["threads"], w["warm"], w["commands"]) for w in workers] == [(1, True, False)] * 2


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


def test_when_the_fork_server_is_killed_the_work_goes_on() -> None:
    """As the kernel does it where memory runs out."""
    running = program("threaded", "hang")
    assert running.stdout
    assert [running.stdout.readline() for _ in range(2)] == ["hangs\n"] * 2
    parents = {pid: parent(pid) for pid in living(running.pid)}
    server = next(p for p in parents.values() if list(parents.values()).count(p) == 2 and p != running.pid)
    os.kill(server, signal.SIGKILL)
    assert running.stdout.readline() == "hangs\n", "the first is tried once more, by a worker of a new server"
    running.kill()
    until(lambda: not living(running.pid))
    running.wait()
    running.stdout.close()


def parent(pid: int) -> int:
    return int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])


@pytest.fixture
def crew() -> Iterator[LocalCrew]:
    made = LocalCrew(2, rulebook.load().intake.workers, PRELOAD)
    yield made
    made.close()


def test_a_crew_may_be_woken_as_often_as_one_likes(crew: LocalCrew) -> None:
    crew.wake()
    crew.wake()
    assert list(crew.run(square, range(3), str)) == [0, 1, 4]
    crew.rest()
    crew.wake()
    assert list(crew.run(square, range(3), str)) == [0, 1, 4]


@pytest.mark.parametrize("module", ["keyturn.__main__", "keyturn.package.preload"])
def test_what_a_worker_imports_brings_no_commands_settings_or_log(module: str) -> None:
    """The main program's own file is imported by each worker (multiprocessing, "Safe importing of main module")."""
    unwanted = "{'keyturn.commands.app', 'typer', 'loguru', 'pydantic_settings'}"
    code = f"import sys, {module}; print(*({unwanted} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "\n"


def test_the_version_is_the_installed_ones() -> None:
    assert importlib.metadata.version("keyturn") == keyturn.__version__
