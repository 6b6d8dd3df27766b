"""Watching a process's system calls: each is seen with its paths before it happens, and gets the answer it is given."""

from __future__ import annotations

import errno
import os
import signal
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from faults import watched
from faults.watched import KILL, TELL, Answer, Asked, Listener, asked_for, give_over, tells_where

pytestmark = [
    pytest.mark.system,
    pytest.mark.skipif(not watched.available(), reason="not on this kind of machine"),
]

NAMES = "open openat read write rename renameat renameat2 mkdir mkdirat unlink unlinkat fsync".split()


def run(work: Callable[[], object], answer: Answer) -> int:
    """How a forked process ended: 0, the errno its work failed with, or minus a signal."""
    ours, theirs = socket.socketpair()
    with ours, theirs:
        pid = os.fork()
        if pid == 0:
            code = 255
            try:
                give_over(asked_for(NAMES), theirs)
                work()
                code = 0
            except OSError as error:
                code = error.errno or 255
            finally:
                os._exit(code)
        theirs.close()
        listener = Listener(pid, ours)
        listener.answer_all(answer)
        listener.close()
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def test_calls_are_told_with_whole_paths(tmp_path: Path) -> None:
    told: list[str] = []

    def work() -> None:
        os.chdir(tmp_path)
        folder = os.open(tmp_path, os.O_RDONLY)
        file = os.open("new", os.O_WRONLY | os.O_CREAT, dir_fd=folder)
        os.write(file, b"x")
        Path("new").rename(tmp_path / "van")

    def answer(call: watched.Asked) -> int:
        told.append(f"{call.name.removesuffix('at2').removesuffix('at')} {' '.join(call.paths)} {call.writes}")
        return 0

    assert run(work, answer) == 0
    assert told == [
        f"open {tmp_path} False",
        f"open {tmp_path}/new True",
        f"write {tmp_path}/new False",
        f"rename {tmp_path}/new {tmp_path}/van False",
    ]


def test_a_call_fails_as_told_and_does_nothing(tmp_path: Path) -> None:
    assert run((tmp_path / "van").mkdir, lambda call: errno.ESTALE) == errno.ESTALE
    assert not (tmp_path / "van").exists()


def test_a_process_that_is_killed_at_a_call_has_not_made_it(tmp_path: Path) -> None:
    assert run((tmp_path / "van").mkdir, lambda call: KILL) == -signal.SIGKILL
    assert not (tmp_path / "van").exists()


def test_a_process_tells_where_in_the_code_it_is_and_its_call_happens_once(tmp_path: Path) -> None:
    where, told = tmp_path / "where", []

    def makes_a_folder() -> None:
        (tmp_path / "van").mkdir()

    def work() -> None:
        tells_where(where)
        makes_a_folder()

    def answer(call: Asked) -> int:
        if not call.name.startswith("mkdir") or where.stat().st_size:
            return 0
        told.append(call.name)
        return TELL

    assert run(work, answer) == 0
    assert (tmp_path / "van").is_dir()
    assert len(told) == 1
    stack = where.read_text()
    assert stack.index("in makes_a_folder") < stack.index("in work")
