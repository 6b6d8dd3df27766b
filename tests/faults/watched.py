"""Hands each system call of a forked process to a function before it happens, by seccomp_unotify(2).

The kernel stops the process at such a call and asks this one, which lets the call happen, has it fail with an error
of its choice, or kills the process, so that the call never happens. Nothing is simulated but the error itself.
strace does the same by ptrace(2) with two stops at every call; here only the calls that are asked for stop, once.
"""

from __future__ import annotations

import ctypes
import errno
import faulthandler
import fcntl
import os
import platform
import select
import signal
import socket
import struct
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from pathlib import Path

PATIENCE_S = 120
"""Only a run that hangs takes so long."""

# Numbers on x86-64 and on 64-bit ARM (asm/unistd.h; None: there is no such call there), and what the arguments are:
# p a path, d an open folder (or AT_FDCWD) with the path that follows it, f an open file, "." anything else.
_CALLS: dict[str, tuple[int | None, int | None, str]] = {
    "read": (0, 63, "f"),
    "write": (1, 64, "f"),
    "open": (2, None, "p"),
    "stat": (4, None, "p"),
    "fstat": (5, 80, "f"),
    "lstat": (6, None, "p"),
    "pread64": (17, 67, "f"),
    "pwrite64": (18, 68, "f"),
    "writev": (20, 66, "f"),
    "sendfile": (40, 71, "ff"),
    "fcntl": (72, 25, "f"),
    "flock": (73, 32, "f"),
    "fsync": (74, 82, "f"),
    "fdatasync": (75, 83, "f"),
    "truncate": (76, 45, "p"),
    "ftruncate": (77, 46, "f"),
    "rename": (82, None, "pp"),
    "mkdir": (83, None, "p"),
    "rmdir": (84, None, "p"),
    "creat": (85, None, "p"),
    "link": (86, None, "pp"),
    "unlink": (87, None, "p"),
    "symlink": (88, None, ".p"),
    "chmod": (90, None, "p"),
    "fchmod": (91, 52, "f"),
    "mknod": (133, None, "p"),
    "getdents64": (217, 61, "f"),
    "inotify_add_watch": (254, 27, ".p"),
    "openat": (257, 56, "d"),
    "mkdirat": (258, 34, "d"),
    "mknodat": (259, 33, "d"),
    "newfstatat": (262, 79, "d"),
    "unlinkat": (263, 35, "d"),
    "renameat": (264, 38, "d.d"),
    "linkat": (265, 37, "d.d"),
    "symlinkat": (266, 36, ".d"),
    "fchmodat": (268, 53, "d"),
    "utimensat": (280, 88, "d"),
    "fallocate": (285, 47, "f"),
    "inotify_init1": (294, 26, ""),
    "pwritev": (296, 70, "f"),
    "renameat2": (316, 276, "d.d"),
    "copy_file_range": (326, 285, "f.f"),
    "statx": (332, 291, "d"),
}
_MACHINES = {"x86_64": (0, 0xC000003E, 317), "aarch64": (1, 0xC00000B7, 277)}
"""Column in `_CALLS`, AUDIT_ARCH of linux/audit.h, and the number of seccomp(2)."""

_RECEIVE, _ANSWER, _SET_FLAGS = 0xC0502100, 0xC0182101, 0x40082104  # linux/seccomp.h, SECCOMP_IOCTL_NOTIF_*
_GO_ON, _SAME_CPU = 1, 1  # SECCOMP_USER_NOTIF_FLAG_CONTINUE, SECCOMP_USER_NOTIF_FD_SYNC_WAKE_UP
_ASKED, _ANSWERED = struct.Struct("QIIiIQ6Q"), struct.Struct("QqiI")
_AT_FDCWD = 0xFFFFFF9C
_FLAGS_OF = {"open": 1, "openat": 2}
_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC

_libc = ctypes.CDLL(None, use_errno=True)


class Asked:
    """A call that is about to happen. Its paths are read only when somebody wants to know them."""

    __slots__ = ("_arguments", "_kinds", "_paths", "_process", "name")

    def __init__(self, name: str, kinds: str, arguments: list[int], process: _Process) -> None:
        self.name, self._kinds, self._arguments, self._process = name, kinds, arguments, process
        self._paths: tuple[str, ...] | None = None

    @property
    def paths(self) -> tuple[str, ...]:
        """The paths of its arguments, also those of open files."""
        if self._paths is None:
            self._paths = tuple(self._process.paths(self._kinds, self._arguments))
        return self._paths

    @property
    def writes(self) -> bool:
        """Does a call that opens a file open it for writing?"""
        place = _FLAGS_OF.get(self.name)
        return place is not None and bool(self._arguments[place] & _WRITES)

    def __str__(self) -> str:
        how = " to write" if self.writes else ""
        return f"{self.name} {' -> '.join(self.paths)}{how}"


KILL, TELL = -1, -2
Answer = Callable[[Asked], int]
"""Returns 0 where the call may happen, an errno with which it fails, KILL, or TELL: the process first writes down where
in the code it is (`tells_where`), and then asks about the same call again."""

TOLD_TO = 1000
"""The open file to which a process tells where it is. What it writes there is not asked about."""


def tells_where(file: Path) -> None:
    """From now on this process answers TELL by adding its stack to `file`, its innermost call first (faulthandler)."""
    opened = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
    os.dup2(opened, TOLD_TO)
    os.close(opened)
    faulthandler.register(signal.SIGUSR1, file=TOLD_TO, all_threads=False)


def available() -> bool:
    return platform.machine() in _MACHINES and platform.system() == "Linux"


def asked_for(names: Iterable[str]) -> list[str]:
    """Those of `names` that this machine has."""
    column = _MACHINES[platform.machine()][0]
    return [name for name in names if name in _CALLS and _CALLS[name][column] is not None]


def give_over(names: Iterable[str], to: socket.socket) -> None:
    """From now on this process's calls `names` are asked about at the other end of `to`."""
    column, machine, seccomp = _MACHINES[platform.machine()]
    numbers = [number for name in names if (number := _CALLS[name][column]) is not None]
    program = _program(numbers, machine)
    code = ctypes.create_string_buffer(b"".join(program), 8 * len(program))
    filters = ctypes.create_string_buffer(struct.pack("HxxxxxxP", len(program), ctypes.addressof(code)))
    set_mode_filter, new_listener, pr_set_no_new_privs = 1, 8, 38
    _libc.prctl(pr_set_no_new_privs, ctypes.c_ulong(1), 0, 0, 0)
    listener = _libc.syscall(seccomp, set_mode_filter, new_listener, filters)
    if listener < 0:
        error = ctypes.get_errno()
        raise OSError(error, f"seccomp_unotify(2) is not allowed here: {os.strerror(error)}")
    socket.send_fds(to, [b"!"], [listener])
    os.close(listener)
    to.close()


def _program(numbers: list[int], machine: int) -> list[bytes]:
    """In the language of linux/filter.h: ask about `numbers`, let all else happen."""
    load, equal, give, allow, ask = 0x20, 0x15, 0x06, 0x7FFF0000, 0x7FC00000
    line = struct.Struct("HBBI").pack
    left = len(numbers)
    tests = [line(equal, left - number, 0, value) for number, value in enumerate(numbers)]
    return [
        line(load, 0, 0, 4),  # seccomp_data of linux/seccomp.h: the machine
        line(equal, 0, left + 1, machine),
        line(load, 0, 0, 0),  # the call's number
        *tests,
        line(give, 0, 0, allow),
        line(load, 0, 0, 16),  # its first argument, the low half
        line(equal, 1, 0, TOLD_TO),
        line(give, 0, 0, ask),
        line(give, 0, 0, allow),
    ]


class _Process:
    """The memory and the open files of a process that is stopped at a call."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._memory = os.open(f"/proc/{pid}/mem", os.O_RDONLY)
        self.ending = os.pidfd_open(pid)

    def close(self) -> None:
        os.close(self._memory)
        os.close(self.ending)

    def paths(self, kinds: str, arguments: list[int]) -> Iterator[str]:
        for place, kind in enumerate(kinds):
            if kind == "p":
                yield self._absolute(_AT_FDCWD, arguments[place])
            elif kind == "d":
                yield self._absolute(arguments[place] & 0xFFFFFFFF, arguments[place + 1])
            elif kind == "f":
                yield self._open_file(arguments[place])

    def _absolute(self, folder: int, address: int) -> str:
        path = self._text(address)
        if path[:1] == "/":
            return path
        above = self._link("cwd") if folder == _AT_FDCWD else self._open_file(folder)
        return f"{above}/{path}" if path else above

    def _text(self, address: int) -> str:
        """Reads to the end of the page first, for what follows it may not be there."""
        text = b""
        while address and b"\0" not in text:
            piece = os.pread(self._memory, 4096 - address % 4096, address)
            if not piece:
                break
            text, address = text + piece, address + len(piece)
        return os.fsdecode(text.partition(b"\0")[0])

    def _open_file(self, number: int) -> str:
        return self._link(f"fd/{number & 0xFFFFFFFF}")

    def _link(self, which: str) -> str:
        try:
            return os.readlink(f"/proc/{self.pid}/{which}")  # noqa: PTH115 - asked thousands of times
        except OSError:
            return ""


class Listener:
    """Answers for the forked process `pid`, which has called `give_over` with the other end of `link`."""

    def __init__(self, pid: int, link: socket.socket) -> None:
        column = _MACHINES[platform.machine()][0]
        self._by_number = {call[column]: (name, call[2]) for name, call in _CALLS.items()}
        _, descriptors, _, _ = socket.recv_fds(link, 1, 1)
        if not descriptors:
            raise OSError(errno.ENOTSUP, "seccomp_unotify(2) is not allowed here")
        self._listener = descriptors[0]
        self._process = _Process(pid)
        with suppress(OSError):  # a kernel before 6.6: only slower
            fcntl.ioctl(self._listener, _SET_FLAGS, _SAME_CPU)

    def close(self) -> None:
        os.close(self._listener)
        self._process.close()

    def answer_all(self, answer: Answer) -> None:
        """Until the process ends. Calls of its other threads all happen."""
        poll = select.poll()
        poll.register(self._listener, select.POLLIN)
        poll.register(self._process.ending, select.POLLIN)
        end = time.monotonic() + PATIENCE_S
        while events := poll.poll(1000 * PATIENCE_S):
            if events[0] != (self._listener, select.POLLIN):
                return
            if time.monotonic() > end:
                break
            with suppress(OSError):  # ENOENT: it was killed meanwhile
                self._answer_one(answer)
        os.kill(self._process.pid, signal.SIGKILL)

    def _answer_one(self, answer: Answer) -> None:
        buffer = bytearray(_ASKED.size)
        fcntl.ioctl(self._listener, _RECEIVE, buffer)
        number, thread, _, call, _, _, *arguments = _ASKED.unpack(buffer)
        wanted = 0
        if thread == self._process.pid:
            wanted = answer(Asked(*self._by_number[call], arguments, self._process))
        if wanted in (KILL, TELL):  # a call that a signal interrupts is begun again: signal(7)
            os.kill(thread, signal.SIGKILL if wanted == KILL else signal.SIGUSR1)
        else:
            fcntl.ioctl(self._listener, _ANSWER, _ANSWERED.pack(number, 0, -wanted, 0 if wanted else _GO_ON))
