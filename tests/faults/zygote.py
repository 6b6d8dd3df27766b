"""Runs the service in processes forked from one that has everything imported: a point of the campaign then costs
a fraction of a second.

The forked service is the real one but for four things that would make its system calls differ from run to run:
its clock is counted (each nap is a second), its bench works on the loop's own thread (by turns with it, where the order
asks for drops side by side) and does there what it does on threads, its crew is inline, and its random names come from
the order's seed where there is one.
As a program it is fed with one JSON order a line on stdin, and answers with the process's number, then with how it
ended. `forks` calls it in its own process.
"""

from __future__ import annotations

import ctypes
import gc
import importlib
import json
import mmap
import os
import pickle
import random
import re
import secrets
import signal
import struct
import sys
import tempfile
import threading
import tomllib
import traceback
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any, ClassVar

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "VIPS_CONCURRENCY": "1"}  # a fork takes no threads with it

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from greenlet import getcurrent, greenlet
from loguru import logger
from pydantic import BaseModel

from faults import scenarios
from keyturn import pipeline
from keyturn.package import animation, digested_zip
from keyturn.pages import render
from keyturn.pages.languages import ENGLISH
from keyturn.service import drop_threads, side_by_side
from keyturn.service.loop import Service
from keyturn.shop import durable_files, file_digests, rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import ShopFault
from keyturn.workers.crew import InlineCrew
from keyturn.workers.program_versions import code_digest

QUIET, CRASHED, NOT_OPENED, NEVER_QUIET = 0, 3, 4, 5
MOST_NAPS = 600
"""Seconds of the counted clock. Pauses take at most a minute each; a drop held back, half a minute."""


class Clock:
    """Counted seconds since a fixed morning, kept where a forked process and its parent both see them.

    Either clock may be set ahead, or back. Until `busy_until` no run counts as quiet.
    """

    _LAYOUT = struct.Struct("dddd")

    def __init__(self, start: datetime) -> None:
        self.start, self._shared = start, mmap.mmap(-1, self._LAYOUT.size)

    def _read(self) -> tuple[float, float, float, float]:
        seconds, wall_ahead, monotonic_ahead, busy_until = self._LAYOUT.unpack_from(self._shared)
        return seconds, wall_ahead, monotonic_ahead, busy_until

    def _write(self, *values: float) -> None:
        self._LAYOUT.pack_into(self._shared, 0, *values)

    @property
    def seconds(self) -> float:
        return self._read()[0]

    def pass_on(self, seconds: float) -> None:
        before, *others = self._read()
        self._write(before + seconds, *others)

    def jump(self, wall: float, monotonic: float) -> None:
        seconds, wall_ahead, monotonic_ahead, busy_until = self._read()
        self._write(seconds, wall_ahead + wall, monotonic_ahead + monotonic, busy_until)

    def busy_until(self, seconds: float) -> None:
        self._write(*self._read()[:3], seconds)

    def is_busy(self) -> bool:
        seconds, _, _, busy_until = self._read()
        return seconds < busy_until

    def now(self) -> datetime:
        seconds, ahead, _, _ = self._read()
        return self.start + timedelta(seconds=seconds + ahead)

    def monotonic(self) -> float:
        seconds, _, ahead, _ = self._read()
        return seconds + ahead


class Naps(threading.Event):
    """The loop's sleep: passes a counted second and no real one."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock = clock

    def wait(self, timeout: float | None = None) -> bool:
        self._clock.pass_on(1.0)
        for thread in ByTurns.going:
            thread.go_on()
        if self._clock.seconds > MOST_NAPS:
            raise TimeoutError("the shop is never quiet")
        return True


class AtOnce:
    """A thread that does its work when it is started."""

    def __init__(
        self, target: Callable[..., None], args: tuple[Any, ...] = (), name: str = "", *, daemon: bool = False
    ) -> None:
        self._work = lambda: target(*args)

    def start(self) -> None:
        self._work()

    def is_alive(self) -> bool:
        return False

    def join(self, timeout: float | None = None) -> None:
        return


class ExecutorAtOnce:
    """Does what it is given when it is given it."""

    def __init__(self, *_: Any) -> None:
        return

    def submit(self, work: Callable[..., Any], *args: Any) -> Future[Any]:
        done = Future[Any]()
        try:
            done.set_result(work(*args))
        except Exception as error:
            done.set_exception(error)
        return done

    def shutdown(self) -> None:
        return


class ByTurns(AtOnce):
    """A thread that works by turns with the loop: it goes on at each of the loop's naps, up to its drop's next stage
    or frame. Several drops are so made side by side, in the same order in every run."""

    going: ClassVar[list[ByTurns]] = []

    def __init__(self, target: Callable[..., None], args: tuple[Any, ...], name: str) -> None:
        self._turns = greenlet(lambda: target(*args))

    def start(self) -> None:
        self.going.append(self)
        self.go_on()

    def is_alive(self) -> bool:
        return not self._turns.dead

    def go_on(self) -> None:
        if self.is_alive():
            self._turns.switch()

    def join(self, timeout: float | None = None) -> None:
        while self.is_alive():
            self.go_on()


class ByTurnsProgress(Progress):
    """Gives the turn back at each stage and frame; not while the drop moves on, which others wait for."""

    def stage(self, name: str, pieces: int = 0) -> None:
        super().stage(name, pieces)
        if name not in ("publish", "sheet", ""):
            _give_back_the_turn()

    def check(self) -> None:
        _give_back_the_turn()
        super().check()


def _give_back_the_turn() -> None:
    loop = getcurrent().parent
    if loop is not None:
        loop.switch()


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


def clock_of(order: dict[str, Any]) -> Clock:
    return Clock(datetime.fromisoformat(order["now"]) if order.get("now") else datetime.now(UTC))


def serve(order: dict[str, Any], clock: Clock) -> int:
    if "seed" in order:
        names = random.Random(order["seed"])
        secrets.token_hex = lambda nbytes=None: names.randbytes(nbytes or 32).hex()
        os.getpid = lambda: 4242  # the lock holds it
    if order.get("beside"):
        drop_threads.threading = SimpleNamespace(Thread=ByTurns)  # type: ignore[assignment]
        drop_threads.Progress = ByTurnsProgress  # type: ignore[misc]
        side_by_side.LOOK_S = 0.0  # the turn was given back at the last look
    else:
        drop_threads.threading = SimpleNamespace(Thread=AtOnce)  # type: ignore[assignment]
    file_digests.Thread = AtOnce  # type: ignore[assignment,misc]
    digested_zip.ThreadPoolExecutor = ExecutorAtOnce  # type: ignore[assignment,misc]
    animation.HELD_BYTES = 0  # the few frames of these drops go to disk, as those of a long animation do
    # Every file counts as just written, however long ago a test laid it: else the calls would depend on the hour.
    file_digests.time = SimpleNamespace(time=lambda: 0.0)  # type: ignore[assignment]
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
        shop._upkeep._clock._since_boot = clock.monotonic
        tick, quiet = shop._round, shop._is_quiet

        def ticked() -> None:
            nonlocal opened
            opened = True
            tick()

        shop._round = ticked  # type: ignore[method-assign]
        shop._is_quiet = lambda: quiet() and not clock.is_busy()  # type: ignore[method-assign]
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


def log_to(file: str) -> None:
    log = Path(file).open("w", buffering=1)  # noqa: SIM115 - it lives as long as the process
    os.dup2(log.fileno(), 2)
    logger.remove()
    logger.add(sys.stderr, format="{level} {message}", backtrace=False)


def _child(order: dict[str, Any]) -> None:
    log_to(order["log"])
    if order.get("stopped"):
        any_process, pr_set_ptracer = ctypes.c_ulong(-1), 0x59616D61  # prctl(2): where Yama guards ptrace
        ctypes.CDLL(None).prctl(pr_set_ptracer, any_process, 0, 0, 0)
        os.kill(os.getpid(), signal.SIGSTOP)
    os._exit(serve(order, clock_of(order)))


def _build_models(model: type[BaseModel]) -> None:
    """Build all of Keyturn's models, which it does itself when it first uses one (pydantic, `defer_build`)."""
    for each in model.__subclasses__():
        if each.__module__.startswith("keyturn."):
            each.model_rebuild()
        _build_models(each)


def warm_up() -> None:
    """Imports and prepares what a whole run would only when it needs it: a fault meant for the shop would hit that,
    and every run would take the time. Nothing prepared touches the shop."""
    logger.remove()
    _import_all()
    environment = render._environment(ENGLISH.code)
    for name in environment.list_templates(extensions=["j2"]):
        environment.get_template(name)
    _build_models(BaseModel)
    parsed = cache(tomllib.loads)
    tomllib.loads = lambda text, /, **how: deepcopy(parsed(text, **how))
    rulebook.load()
    code_digest()
    gc.collect()
    gc.freeze()  # a collection writes to every object, and each page that a fork writes to is copied
    gc.disable()


def _import_all() -> None:
    """Imports what a run imports, and compiles its patterns. The run is a child's: libraries may start threads when
    they work, and a fork takes none with it."""
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        known = set(sys.modules)
        with tempfile.TemporaryDirectory() as folder:
            scenarios.drops(scenarios.shop_in(Path(folder) / "shop"))
            serve({"root": f"{folder}/shop"}, clock_of({}))
        patterns = [(key[1], key[2]) for key in re._cache]
        with os.fdopen(writing, "wb") as file:
            file.write(pickle.dumps((sorted(set(sys.modules) - known), patterns)))
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as file:
        modules, patterns = pickle.load(file)
    os.waitpid(pid, 0)
    for name in modules:
        with suppress(ImportError):
            importlib.import_module(name)
    for pattern, flags in patterns:
        re.compile(pattern, flags)


def main() -> None:
    warm_up()
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
