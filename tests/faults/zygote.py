"""Runs the service in processes forked from one that has everything imported: a point of the campaign then costs
a fraction of a second.

The forked service is the real one but for three things that would make its system calls differ from run to run:
its clock is counted (each nap is a second), its bench works on the loop's own thread, and its crew is inline.
Fed with one JSON order a line on stdin; answers with the process's number, then with how it ended.
"""

from __future__ import annotations

import ctypes
import importlib
import json
import os
import signal
import sys
import tempfile
import threading
import traceback
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "VIPS_CONCURRENCY": "1"}  # a fork takes no threads with it

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from loguru import logger

from faults import scenarios
from keyturn import pipeline
from keyturn.service import drop_thread
from keyturn.service.loop import Service
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.workers.crew import InlineCrew

QUIET, CRASHED, NOT_OPENED, NEVER_QUIET = 0, 3, 4, 5
MOST_NAPS = 600
"""Seconds of the counted clock. Pauses take at most a minute each; a drop held back, half a minute."""


class Clock:
    """Counted seconds since a fixed morning."""

    def __init__(self, start: datetime) -> None:
        self._start, self.seconds = start, 0.0

    def now(self) -> datetime:
        return self._start + timedelta(seconds=self.seconds)

    def monotonic(self) -> float:
        return self.seconds


class Naps(threading.Event):
    """The loop's sleep: passes a counted second and no real one."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock = clock

    def wait(self, timeout: float | None = None) -> bool:
        self._clock.seconds += 1.0
        if self._clock.seconds > MOST_NAPS:
            raise TimeoutError("the shop is never quiet")
        return True


class AtOnce:
    """A thread that does its work when it is started."""

    def __init__(self, target: Callable[..., None], args: tuple[Any, ...], name: str) -> None:
        self._work = lambda: target(*args)

    def start(self) -> None:
        self._work()

    def is_alive(self) -> bool:
        return False

    def join(self, timeout: float | None = None) -> None:
        return


def _changed_while_made() -> None:
    """The artist adds a file while the drop is being made, once."""
    real = pipeline.make

    def make(job: pipeline.Job, *args: Any) -> pipeline.Made:
        made = real(job, *args)
        late = job.found.root / "late.txt"
        if not late.exists() and job.found.root.name == "drop":
            durable_files.write_atomic(late, b"late")
        return made

    pipeline.make = make


def serve(order: dict[str, Any]) -> int:
    clock = Clock(datetime.fromisoformat(order["now"]) if order.get("now") else datetime.now(UTC))
    drop_thread.threading = SimpleNamespace(Thread=AtOnce)  # type: ignore[assignment]
    if order.get("changed"):
        _changed_while_made()
    opened = False
    try:
        shop = Service(
            Shop(Path(order["root"])),
            now=clock.now,
            monotonic=clock.monotonic,
            crew_of=lambda settings, rules: InlineCrew(),
        )
        shop._wake = Naps(clock)
        tick = shop._round

        def ticked() -> None:
            nonlocal opened
            opened = True
            tick()

        shop._round = ticked  # type: ignore[method-assign]
        shop.run(until_quiet=True)
    except TimeoutError:
        return NEVER_QUIET
    except (ShopFault, OSError):
        traceback.print_exc()
        return CRASHED if opened else NOT_OPENED
    except BaseException:
        traceback.print_exc()
        return CRASHED
    return QUIET


def _child(order: dict[str, Any]) -> None:
    log = Path(order["log"]).open("w", buffering=1)  # noqa: SIM115 - it lives as long as the process
    os.dup2(log.fileno(), 2)
    logger.remove()
    logger.add(sys.stderr, format="{level} {message}", backtrace=False)
    if order.get("stopped"):
        any_process, pr_set_ptracer = ctypes.c_ulong(-1), 0x59616D61  # prctl(2): where Yama guards ptrace
        ctypes.CDLL(None).prctl(pr_set_ptracer, any_process, 0, 0, 0)
        os.kill(os.getpid(), signal.SIGSTOP)
    os._exit(serve(order))


def _warm_up() -> None:
    """Imports what a whole run imports only when it needs it: a fault meant for the shop would hit that.

    The run is a child's: libvips starts threads when it works, and a fork takes none with it.
    """
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        known = set(sys.modules)
        with tempfile.TemporaryDirectory() as folder:
            scenarios.drops(scenarios.shop_in(Path(folder) / "shop"))
            serve({"root": f"{folder}/shop"})
        os.write(writing, " ".join(set(sys.modules) - known).encode())
        os._exit(0)
    os.close(writing)
    os.waitpid(pid, 0)
    with os.fdopen(reading) as file:
        for name in sorted(file.read().split()):
            with suppress(ImportError):
                importlib.import_module(name)


def main() -> None:
    logger.remove()
    _warm_up()
    for text in sys.stdin:
        order = json.loads(text)
        pid = os.fork()
        if pid == 0:
            _child(order)
        print(json.dumps({"pid": pid}), flush=True)
        _, status, usage = os.wait4(pid, 0)
        code = os.waitstatus_to_exitcode(status)
        print(json.dumps({"code": code, "rss_kib": usage.ru_maxrss}), flush=True)


if __name__ == "__main__":
    main()
