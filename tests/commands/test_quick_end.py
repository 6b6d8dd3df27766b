"""The program ends as Python ends any other: compared with Python's own end of the same lines."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

PROGRAMS = {
    "it prints": "print('made')",
    "it is refused": "print('refused', file=sys.stderr); code = 1",
    "duties at the end": "atexit.register(print, 'second'); atexit.register(print, 'first')",
    "a duty that fails": "atexit.register(lambda: 1 / 0); atexit.register(print, 'first')",
    "a scratch folder": "kept = tempfile.TemporaryDirectory(); print(os.path.isdir(kept.name)); "
    "atexit.register(lambda: print(os.listdir(kept.name)))",
    "a thread that goes on": "threading.Thread(target=lambda: (time.sleep(0.2), print('late'))).start()",
    "a daemon that goes on": "threading.Thread(target=time.sleep, args=[60], daemon=True).start()",
    "a full disk": "sys.stdout = open('/dev/full', 'w'); print('lost'); code = 0",
    "no output": "sys.stdout = None",
}
START = "import atexit, os, sys, tempfile, threading, time\nfrom keyturn.commands.quick_end import end\ncode = 3\n"


def ran(program: str, end: str) -> tuple[int, str, str]:
    code = f"{START}{program}\n{end}\n"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout, re.sub("at 0x[0-9a-f]+", "at 0x", done.stderr)


@pytest.mark.parametrize("program", PROGRAMS.values(), ids=PROGRAMS)
def test_the_end_is_python_s(program: str) -> None:
    assert ran(program, "end(code); raise SystemExit(code)") == ran(program, "raise SystemExit(code)")


def test_what_was_imported_is_not_taken_apart() -> None:
    kept = "class Kept:\n    def __del__(self): print('taken apart')\nkept = Kept()"
    assert ran(kept, "raise SystemExit(code)") == (3, "taken apart\n", "")
    assert ran(kept, "end(code)") == (3, "", "")


def test_a_scratch_folder_is_gone_afterwards() -> None:
    code, folder, _ = ran("kept = tempfile.TemporaryDirectory(); print(kept.name)", "end(code)")
    assert code == 3
    assert ran(f"print(os.path.lexists({folder.strip()!r}))", "end(code)") == (3, "False\n", "")
