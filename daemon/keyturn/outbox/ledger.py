"""The ledger: a view of the folders that answers quickly. It can be deleted at any time and is rebuilt.

SQLite on the shop's local disk, WAL, synchronous=FULL. Nothing is ever decided from it alone. What was asked before
is answered from memory while the file is the one it was.
"""

from __future__ import annotations

import errno
import json
import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TypeVar

from loguru import logger

from keyturn.shop.file_identity import FileIdentity, identity
from keyturn.shop.reasons import Reason
from keyturn.shop.records import JobRecord, Ready, RefusedDrop, Rejection

_SCHEMA = """
CREATE TABLE IF NOT EXISTS ready (
    path TEXT PRIMARY KEY, claim TEXT NOT NULL, customer TEXT NOT NULL, job TEXT NOT NULL,
    revision INTEGER NOT NULL, radios TEXT NOT NULL, digest TEXT NOT NULL, made_at TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS refused (
    path TEXT PRIMARY KEY, claim TEXT NOT NULL, name TEXT NOT NULL, customer TEXT,
    rejected_at TEXT NOT NULL, reasons TEXT NOT NULL);
CREATE INDEX IF NOT EXISTS ready_by_time ON ready (made_at);
CREATE INDEX IF NOT EXISTS refused_by_time ON refused (rejected_at);
"""
_VERSION = 1

A = TypeVar("A")


class Ledger:
    """One connection a call, one call at a time: the service's loop and its bench thread both write.

    A ledger that is deleted under a running service is begun anew at the next call; `was_lost` tells of it once.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._one = threading.Lock()
        self._writes = 0
        self._lost = False
        self._answers: dict[str, tuple[object, object]] = {}

    @classmethod
    def opened(cls, path: Path) -> tuple[Ledger, bool]:
        """The ledger at `path` and whether it must be rebuilt: it was missing, foreign or damaged."""
        ledger = cls(path)
        fresh = not path.exists()
        try:
            with ledger._raw() as db:
                version = db.execute("PRAGMA user_version").fetchone()[0]
                if not fresh and version != _VERSION:
                    raise sqlite3.DatabaseError(f"ledger version {version}")
                if db.execute("PRAGMA quick_check").fetchone()[0] != "ok":
                    raise sqlite3.DatabaseError("quick_check failed")
                _begin(db)
        except sqlite3.OperationalError as error:
            raise OSError(errno.EIO, f"ledger: {error}", str(path)) from error
        except sqlite3.DatabaseError as error:
            logger.warning("the ledger is not usable ({}); building it anew from the folders", error)
            ledger._forget()
            return cls.opened(path)[0], True
        return ledger, fresh

    def _forget(self) -> None:
        for suffix in ("", "-wal", "-shm"):
            self._path.with_name(self._path.name + suffix).unlink(missing_ok=True)

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        """Raises OSError (EIO) where SQLite cannot read or write: that is the disk's fault, not a drop's."""
        try:
            with self._raw() as db:
                if db.execute("PRAGMA user_version").fetchone()[0] == 0:
                    _begin(db)
                    self._lost = True
                yield db
        except sqlite3.Error as error:
            raise OSError(errno.EIO, f"ledger: {error}", str(self._path)) from error

    @contextmanager
    def _raw(self) -> Iterator[sqlite3.Connection]:
        with self._one, closing(self._connected()) as db:
            db.execute("PRAGMA journal_mode=WAL")
            db.execute("PRAGMA synchronous=FULL")
            with db:
                yield db

    def _connected(self) -> sqlite3.Connection:
        if not self._path.exists():
            self._forget()  # a journal whose database is gone belongs to no other
        return sqlite3.connect(self._path, timeout=30)

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        try:
            with self._connection() as db:
                yield db
        finally:
            self._writes += 1

    def _answer(self, question: str, ask: Callable[[sqlite3.Connection], A]) -> A:
        """As it was last time, where nothing has been written and the file is the same."""
        state = self._state()
        known, answer = self._answers.get(question, (None, None))
        if state is None or known != state:
            with self._connection() as db:
                answer = ask(db)
            self._answers[question] = state, answer
        return answer  # type: ignore[return-value]  # each question has its own type of answer

    def _state(self) -> tuple[int, FileIdentity] | None:
        """Changes with the file's content; between two calls no connection is open, so all is in the one file."""
        file = identity(self._path)
        return None if file is None else (self._writes, file)

    def was_lost(self) -> bool:
        """Was the ledger begun anew since this was last asked? Then it lacks what the folders hold."""
        lost, self._lost = self._lost, False
        return lost

    def add_ready(self, path: str, record: JobRecord) -> None:
        """Records a published revision; `path` is relative to the outbox."""
        self.add_all_ready([(path, record)])

    def add_all_ready(self, made: Iterable[tuple[str, JobRecord]]) -> None:
        """As `add_ready`, all or none."""
        rows = [_ready_row(path, record) for path, record in made]
        with self._writing() as db:
            db.executemany("INSERT OR REPLACE INTO ready VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)

    def add_refused(self, path: str, name: str, rejection: Rejection) -> None:
        """Records a folder in rejects; `path` is relative to the shop's root."""
        reasons = json.dumps([r.model_dump(mode="json") for r in rejection.reasons])
        row = (path, rejection.claim, name, rejection.customer, rejection.rejected_at, reasons)
        with self._writing() as db:
            db.execute("INSERT OR REPLACE INTO refused VALUES (?, ?, ?, ?, ?, ?)", row)

    def drop_refused(self, paths: Iterable[str]) -> None:
        gone = [(path,) for path in paths]
        if not gone:
            return
        with self._writing() as db:
            db.executemany("DELETE FROM refused WHERE path = ?", gone)

    def drop_ready(self, paths: Iterable[str]) -> None:
        gone = [(path,) for path in paths]
        if not gone:
            return
        with self._writing() as db:
            db.executemany("DELETE FROM ready WHERE path = ?", gone)

    def ready(self, most: int = 100) -> tuple[Ready, ...]:
        """The newest `most` revisions, newest first."""
        query = "SELECT customer, job, revision, radios, path, made_at FROM ready ORDER BY made_at DESC, path LIMIT ?"
        return self._answer(f"ready {most}", lambda db: tuple(map(_ready, db.execute(query, (most,)).fetchall())))

    def refused(self, most: int = 100) -> tuple[RefusedDrop, ...]:
        """The newest `most` drops in rejects, newest first."""
        query = "SELECT name, customer, path, rejected_at, reasons FROM refused ORDER BY rejected_at DESC, path LIMIT ?"
        return self._answer(f"refused {most}", lambda db: tuple(map(_refused, db.execute(query, (most,)).fetchall())))

    def counts(self) -> tuple[int, int]:
        """How many revisions are ready and how many drops lie in rejects."""
        query = "SELECT (SELECT count(*) FROM ready), (SELECT count(*) FROM refused)"
        return self._answer("counts", lambda db: tuple(db.execute(query).fetchone()))

    def ready_paths(self) -> tuple[str, ...]:
        with self._connection() as db:
            return tuple(path for (path,) in db.execute("SELECT path FROM ready"))

    def refused_paths(self) -> tuple[str, ...]:
        with self._connection() as db:
            return tuple(path for (path,) in db.execute("SELECT path FROM refused"))


def _begin(db: sqlite3.Connection) -> None:
    db.executescript(_SCHEMA)
    db.execute(f"PRAGMA user_version = {_VERSION}")


def _ready_row(path: str, record: JobRecord) -> tuple[object, ...]:
    radios = json.dumps([r.radio for r in record.radios])
    made = record.claim, record.customer, record.job, record.revision, radios, record.digest, record.made_at
    return path, *made


def _ready(row: tuple[str, str, int, str, str, str]) -> Ready:
    customer, job, revision, radios, path, made_at = row
    made_for = tuple(json.loads(radios))
    return Ready(customer=customer, job=job, revision=revision, radios=made_for, path=path, made_at=made_at)


def _refused(row: tuple[str, str | None, str, str, str]) -> RefusedDrop:
    name, customer, path, rejected_at, told = row
    reasons = tuple(Reason.model_validate(reason) for reason in json.loads(told))
    return RefusedDrop(name=name, customer=customer, path=path, rejected_at=rejected_at, reasons=reasons)
