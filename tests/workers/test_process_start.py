"""How worker processes start: by a fork of a process with one thread, which has imported what they need."""

from __future__ import annotations

import importlib.metadata
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import keyturn
from crew_programs import living, program, told, until
from keyturn.package import PRELOAD
from keyturn.shop import rulebook
from keyturn.workers.crew import LocalCrew
from samples import square


def test_a_program_of_one_thread_forks_its_workers_itself() -> None:
    pid, workers = told("alone born")
    assert [(w["parent"], w["warm"]) for w in workers] == [(pid, True)] * 2


def test_one_with_more_threads_has_a_fork_server_that_is_warm_and_runs_none() -> None:
    """fork(2): a child has only the thread that forked, and no lock that another held is ever given back."""
    pid, workers = told("threaded born")
    (server,) = {w["parent"] for w in workers}
    assert server != pid
    assert [(w["threads"], w["warm"], w["commands"]) for w in workers] == [(1, True, False)] * 2


def test_when_the_fork_server_is_killed_the_work_goes_on() -> None:
    """The kernel kills it where memory runs out."""
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
