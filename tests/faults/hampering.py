"""What may happen to the service at a system call, each as an answer to `watched`.

Calls are counted by name, and only those that touch the shop. Each thing begins at the call `at`.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from faults.forks import Places
from faults.running import CHANGING, OPENING
from faults.snapshots import Snapshot, take
from faults.watched import KILL, TELL, Asked
from faults.zygote import Clock


def changes(call: Asked) -> bool:
    return call.writes if call.name in OPENING else call.name in CHANGING


def needs_space(call: Asked) -> bool:
    """May the call fail for want of space (ENOSPC in its man page)?"""
    return call.writes if call.name in OPENING else call.name in NEED_SPACE


NEED_SPACE = frozenset(
    "rename renameat renameat2 mkdir mkdirat link linkat symlink symlinkat mknod mknodat write pwrite64 writev pwritev "
    "copy_file_range sendfile ftruncate fallocate fsync fdatasync".split()
)


class Hampered(ABC):
    """`reached` tells whether the call `at` came, `struck` how often it then did something."""

    def __init__(self, shop: Places, at: tuple[str, int]) -> None:
        self._shop, self._name, self._number = shop, *at
        self._count = 0
        self.reached, self.struck = False, 0

    def __call__(self, call: Asked) -> int:
        if not self.reached and call.name == self._name and self._shop.touched(call):
            self._count += 1
            self.reached = self._count == self._number
            if self.reached:
                self.begins()
        if not self.reached:
            return 0
        answer = self.goes_on(call)
        self.struck += bool(answer)
        return answer

    def begins(self) -> None:
        return

    @abstractmethod
    def goes_on(self, call: Asked) -> int: ...


class Killed(Hampered):
    def goes_on(self, call: Asked) -> int:
        return KILL


class Failing(Hampered):
    """The call and those of its name that follow it fail, `times` in all."""

    def __init__(self, shop: Places, at: tuple[str, int], error: str, times: int) -> None:
        super().__init__(shop, at)
        self._error, self._left = getattr(errno, error), times

    def goes_on(self, call: Asked) -> int:
        if not self._left or call.name != self._name or not self._shop.touched(call):
            return 0
        self._left -= 1
        return self._error


class Outage(Hampered):
    """For `seconds` of the counted clock every call in `where` fails. `only` says which; None: all."""

    def __init__(
        self,
        shop: Places,
        at: tuple[str, int],
        clock: Clock,
        error: str,
        where: Places,
        seconds: float,
        only: Callable[[Asked], bool] | None,
    ) -> None:
        super().__init__(shop, at)
        self._clock, self._where, self._only = clock, where, only
        self._error, self._lasts, self._over_at = getattr(errno, error), seconds, 0.0

    def begins(self) -> None:
        self._over_at = self._clock.seconds + self._lasts
        self._clock.busy_until(self._over_at)

    def goes_on(self, call: Asked) -> int:
        if self._clock.seconds >= self._over_at or not (self._only is None or self._only(call)):
            return 0
        return self._error if self._where.touched(call) else 0


SEEN_AGAIN_S = 10.0
"""Counted seconds in which a scan of the inbox surely comes."""


class Gone(Hampered):
    """Something is taken away, and given back after `seconds` of the counted clock. Calls find what there is."""

    def __init__(
        self,
        shop: Places,
        at: tuple[str, int],
        clock: Clock,
        take_away: Callable[[], None],
        give_back: Callable[[], None],
        seconds: float,
    ) -> None:
        super().__init__(shop, at)
        self._clock, self._lasts, self._over_at = clock, seconds, 0.0
        self._take_away, self._give_back, self.away = take_away, give_back, False

    def begins(self) -> None:
        self._over_at, self.away, self.struck = self._clock.seconds + self._lasts, True, 1
        self._clock.busy_until(self._over_at + SEEN_AGAIN_S)
        self._take_away()

    def goes_on(self, call: Asked) -> int:
        if self.away and self._clock.seconds >= self._over_at:
            self.end()
        return 0

    def end(self) -> None:
        """Gives it back where that has not been done."""
        if self.away:
            self._give_back()
        self.away = False


class Jump(Hampered):
    """The clocks are set ahead, or back, once."""

    def __init__(self, shop: Places, at: tuple[str, int], clock: Clock, wall: float, monotonic: float) -> None:
        super().__init__(shop, at)
        self._clock, self._wall, self._monotonic = clock, wall, monotonic

    def begins(self) -> None:
        self.struck = 1
        self._clock.jump(self._wall, self._monotonic)

    def goes_on(self, call: Asked) -> int:
        return 0


class Trail:
    """Hampers nothing: notes every call that touches the shop, and what the folders are before each that changes them.

    Killed before such a call, the service leaves just these folders: it has one thread, which is stopped there.
    """

    def __init__(
        self, root: Path, wanted: Callable[[int], bool] = lambda number: True, where: Path | None = None
    ) -> None:
        """`wanted` tells for which of the changing calls, numbered from 0, a snapshot is wanted. `where` is the file
        to which the process tells where in the code it is; None: nobody wants to know."""
        self._root, self._shop, self._wanted, self._where = root, Places(root), wanted, where
        self._counts: Counter[str] = Counter()
        self._bytes: dict[bytes, bytes] = {}
        self._changing, self._told = 0, False
        self.steps: list[Step] = []

    def __call__(self, call: Asked) -> int:
        if not self._shop.touched(call):
            return 0
        if self._where is not None and not self._told:
            self._told = True
            return TELL
        self._told = False
        self._counts[call.name] += 1
        snapshot = None
        if changing := changes(call):
            snapshot = take(self._root, self._bytes) if self._wanted(self._changing) else None
            self._changing += 1
        line = self._line_of_code(call)
        self.steps.append(Step(call.name, self._counts[call.name], str(call), changing, snapshot, line))
        return 0

    def _line_of_code(self, call: Asked) -> str:
        if self._where is None:
            return ""
        stack = [line.partition("/daemon/keyturn/")[2] for line in self._where.read_text().splitlines()]
        os.truncate(self._where, 0)
        below = [path.removeprefix(str(self._root)) for path in call.paths]
        about = [re.sub(r"[0-9a-f]*[0-9][0-9a-f]*", "#", path) for path in below]
        told = [call.name, call.writes, about, list(_of_one_thread(line for line in stack if line))]
        return hashlib.sha256(repr(told).encode()).hexdigest()[:16]


def _of_one_thread(stack: Iterable[str]) -> Iterator[str]:
    """The stack, its innermost call first, up to where a drop's thread begins: here the loop's own thread runs that."""
    for line in stack:
        yield line
        if line.startswith("service/drop_threads.py") and line.endswith(" in _work"):
            return


class Step:
    """A call of a run: the `number`-th `name` that touches the shop. Calls of the same `line` come from the same lines
    of Keyturn's code, the whole way down, and are about files whose paths differ in numbers only."""

    __slots__ = ("before", "changes", "line", "name", "number", "text")

    def __init__(
        self, name: str, number: int, text: str, changes: bool, before: Snapshot | None, line: str = ""
    ) -> None:
        self.name, self.number, self.text, self.changes, self.before = name, number, text, changes, before
        self.line = line

    @property
    def renames(self) -> bool:
        return self.name.startswith("rename")
