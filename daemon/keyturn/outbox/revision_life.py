"""What became of a revision once it was made: files beside it, so that the folders stay the truth.

    outbox/<customer>/<job>-r<n>/shown.json     to whom the sheet was shown
                                 answer.json    what the customer said
                                 copied.json    onto which sticks it was copied
                                 fitted.json    into which vehicles it was fitted

The service alone writes there, and whoever has its rights. Others hand it a slip through the inbox.
"""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from keyturn.outbox.record_files import readable_record
from keyturn.shop import durable_files
from keyturn.shop.bounded_record import Record
from keyturn.shop.own_files import remove_left_over
from keyturn.shop.slips import Kind, Slip

FILES: dict[Kind, str] = {
    "shown": "shown.json",
    "answer": "answer.json",
    "copied": "copied.json",
    "fitted": "fitted.json",
}

MOST_SLIPS = 1000
"""Of one kind for one revision; the oldest are dropped beyond it."""

FILE_MOST_BYTES = 8 * 2**20

LOCK_S = 2.0
"""So long one writer waits for another, in seconds. Whoever may read the folder can hold its lock (flock(2)), so nobody
waits for ever."""


class SlipFile(Record):
    """One of the files beside a revision: every slip of one kind, oldest first."""

    slips: tuple[Slip, ...]


@dataclass(frozen=True, slots=True)
class Life:
    """All slips of one revision by kind, oldest first in each."""

    shown: tuple[Slip, ...] = ()
    answer: tuple[Slip, ...] = ()
    copied: tuple[Slip, ...] = ()
    fitted: tuple[Slip, ...] = ()

    @property
    def last_answer(self) -> Slip | None:
        """What the customer said last."""
        return self.answer[-1] if self.answer else None

    @property
    def approved(self) -> bool:
        """Tell whether the customer's last word was yes."""
        return self.last_answer is not None and self.last_answer.answer == "yes"


def read(revision: Path) -> Life:
    """Return what became of the revision in the folder `revision`. A file that is missing or spoilt tells nothing."""
    return Life(**{kind: _read(revision / name) for kind, name in FILES.items()})


def boots_told(outbox: Path, radio: str) -> tuple[float, ...]:
    """Return the seconds that fitters told for boots of the radio, in every revision of the outbox, oldest first."""
    told = [
        (slip.at, slip.boot_s)
        for path in outbox.glob(f"[!.]*/*/{FILES['fitted']}")
        for slip in _read(path)
        if slip.radio == radio and slip.boot_s is not None
    ]
    return tuple(boot_s for _, boot_s in sorted(told))


def knows(revision: Path, slip: Slip) -> bool:
    """Tell whether the slip stands beside its revision already."""
    return any(slip.id == other.id for other in _read(revision / FILES[slip.kind]))


def enter(revision: Path, slip: Slip) -> bool:
    """Write the slip beside its revision, whole and in one step. Return False where it stands there already."""
    path = revision / FILES[slip.kind]
    with _locked(revision):
        remove_left_over(revision, durable_files.HALF_WRITTEN)  # of a writer that was killed
        known = _read(path)
        if any(slip.id == other.id for other in known):
            return False
        slips = SlipFile(slips=(*known, slip)[-MOST_SLIPS:])
        durable_files.write_atomic(path, slips.model_dump_json(indent=1, exclude_defaults=True).encode("utf-8"))
    return True


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Keep other writers out of the folder for a moment: two must not both add to what they read."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        end = time.monotonic() + LOCK_S
        while not _lock(descriptor) and time.monotonic() < end:
            time.sleep(0.01)
        yield
    finally:
        os.close(descriptor)


def _lock(descriptor: int) -> bool:
    """Return whether the lock is ours, or the file system has none."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def _read(path: Path) -> tuple[Slip, ...]:
    found = readable_record(path, SlipFile, FILE_MOST_BYTES)
    return found.slips if found else ()
