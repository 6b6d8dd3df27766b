"""Free memory goes back to the system; where that cannot be done, nothing happens."""

from __future__ import annotations

import ctypes
import platform
import subprocess
import sys

import pytest

from keyturn.shop import free_memory

PROGRAM = """
from pathlib import Path
from keyturn.shop.free_memory import give_back

def resident():  # proc_pid_status(5), KiB
    return int(Path("/proc/self/status").read_text().partition("VmRSS:")[2].split()[0])

kept = [bytes([n % 256]) * 50_000 for n in range(2000)]
before, last = resident(), kept[-1]
kept.clear()
give_back()
print(before - resident())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="needs glibc")
def test_what_was_freed_below_something_in_use_goes_back() -> None:
    """The kernel says how much the process has, before and after: of 98 MiB most are back."""
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert int(done.stdout) > 80 * 1024


@pytest.mark.parametrize("error", [AttributeError, OSError])
def test_another_c_library_is_no_fault(monkeypatch: pytest.MonkeyPatch, error: type[Exception]) -> None:
    def missing(name: object) -> object:
        raise error

    monkeypatch.setattr(ctypes, "CDLL", missing)
    free_memory.give_back()
