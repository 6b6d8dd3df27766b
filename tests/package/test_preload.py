"""What workers are forked from: all that a frame needs is imported, and no thread runs."""

from __future__ import annotations

import json
import subprocess
import sys

from keyturn.package import PRELOAD

ASKED = """
import importlib, json, os, sys
importlib.import_module(sys.argv[1])
print(json.dumps({"threads": len(os.listdir("/proc/self/task")), "modules": sorted(sys.modules)}))
"""


def test_it_imports_all_that_a_frame_needs_and_starts_no_thread() -> None:
    """A fork takes no thread along but the one that forks (fork(2)); /proc/self/task lists them (proc(5))."""
    told = subprocess.run([sys.executable, "-c", ASKED, PRELOAD], capture_output=True, text=True, check=True)
    found = json.loads(told.stdout)
    assert found["threads"] == 1
    needed = {"keyturn.package.frame", "keyturn.workers.worker_limits", "pebble.pool.process", "PIL.WebPImagePlugin"}
    needed.add("blake3")
    assert needed <= set(found["modules"])
