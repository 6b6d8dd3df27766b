"""Programs with crews of their own, for tests of how worker processes start and end. They run crew_tasks.py."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PATIENCE_S = 60.0
"""Only a test that fails waits so long."""


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def program(*words: str) -> subprocess.Popen[str]:
    """Start a program with a crew, in a session of its own."""
    command = [sys.executable, str(HERE / "crew_tasks.py"), *words]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True)


def living(session: int) -> set[int]:
    """Return the living processes of the session (proc(5): the session is the fourth word after the name)."""
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
    """Run the program to its end; return its process number and what it found of each worker."""
    running = program(*words.split())
    said = json.loads(running.communicate(timeout=PATIENCE_S)[0])
    until(lambda: not living(running.pid))
    return said["pid"], said["found"]
