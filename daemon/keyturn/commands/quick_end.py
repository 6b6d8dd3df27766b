"""Ends the program once its command is done, without taking apart all that was imported: 20 ms of a `keyturn make`."""

from __future__ import annotations

import atexit
import os
import sys
import threading


def end(code: int) -> None:
    """Do what Python does at the end of a program, then leave with `code`; freeing memory is left to the system.

    Return, for Python to end the program itself, where it has to wait for a thread or to tell that output is lost.
    Source: Py_FinalizeEx and os._exit in Python's documentation.
    """
    others = (thread for thread in threading.enumerate() if thread is not threading.main_thread())
    if any(not thread.daemon for thread in others):
        return
    atexit._run_exitfuncs()
    try:
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:  # None: the descriptor was closed when the program began
                stream.flush()
    except (OSError, ValueError):
        return
    os._exit(code)
