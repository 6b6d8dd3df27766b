"""Tasks that tell how a worker of the local crew came to be, and crews in programs of their own.

    python crew_tasks.py alone|threaded TASK     runs TASK twice at a time on two workers, prints what they give

"threaded" starts the crew while the program has a second thread.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import threading
import time
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    import keyturn  # noqa: F401 - first, as in the command: numpy starts no threads then

from keyturn.package import PRELOAD
from keyturn.shop import rulebook
from keyturn.workers.crew import LocalCrew


def born(number: int) -> dict[str, Any]:
    """Parent, its threads and its own parent; what was there before the first task; the limits."""
    parent = os.getppid()
    limits = {what: resource.getrlimit(getattr(resource, f"RLIMIT_{what}"))[0] for what in ("AS", "NOFILE", "FSIZE")}
    return {
        "parent": parent,
        "threads": len(list(Path(f"/proc/{parent}/task").iterdir())),
        "warm": "keyturn.package.preload" in sys.modules,
        "commands": "keyturn.commands.app" in sys.modules,
        "limits": limits,
    }


def hang(number: int) -> int:
    """Says so on the standard output that it has in common with the program."""
    os.write(1, b"hangs\n")
    time.sleep(600)
    return number


def dies(job: object) -> None:
    """Ends its process, as a crash in a library of C does."""
    os._exit(9)


def main() -> None:
    threaded, task = sys.argv[1] == "threaded", globals()[sys.argv[2]]
    over = threading.Event()
    if threaded:
        threading.Thread(target=over.wait).start()
    crew = LocalCrew(2, rulebook.load().intake.workers, PRELOAD)
    crew.wake()
    found = list(crew.run(task, range(2), str))
    print(json.dumps({"pid": os.getpid(), "found": found}), flush=True)
    crew.close()
    over.set()


if __name__ == "__main__":
    main()
