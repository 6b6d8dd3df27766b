"""The ledger: a view of the folders that answers quickly. It may be deleted at any time and is then rebuilt.

It is an SQLite database on the shop's local disk, with WAL and synchronous=FULL. No decision depends on it alone. An
answer is given again from memory as long as the file has not changed.
"""

from __future__ import annotations

import errno
import json
import os
import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TypeVar

from loguru import logger

from keyturn.shop.disk_look import write_error
from keyturn.shop.file_identity import FileIdentity, identity
from keyturn.shop.reasons import Reason
from keyturn.shop.records import JobRecord, Rejection
from keyturn.shop.state_records import Ready, RefusedDrop

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

_ADD_READY = "INSERT OR REPLACE INTO ready VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
_ADD_REFUSED = "INSERT OR REPLACE INTO refused VALUES (?, ?, ?, ?, ?, ?)"

Answer = TypeVar("Answer")


class Ledger:
    """The ledger in the file `path`. Every method raises OSError where SQLite cannot read or write.

    Each call opens a connection of its own. Only one call runs at a time, for two threads of the service write: the
    loop and the one that makes drops. A ledger that is deleted while the service runs is begun anew at the next call,
    and `was_lost` then says so once.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._writes = 0
        self._lost = False
        self._answers: dict[str, tuple[object, object]] = {}

    @classmethod
    def opened(cls, path: Path) -> tuple[Ledger, bool]:
        """Return the ledger at `path`, and whether it is empty and must be filled from the folders.

        It is empty where it was missing, or was damaged or another program's and was deleted.
        """
        ledger = cls(path)
        fresh = not path.exists()
        try:
            with ledger._raw() as db:
                version = db.execute("PRAGMA user_version").fetchone()[0]
                if not fresh and version != _VERSION:
                    raise sqlite3.DatabaseError(f"ledger version {version}")
                if db.execute("PRAGMA quick_check").fetchone()[0] != "ok":
                    raise sqlite3.DatabaseError("quick_check failed")
                _create_tables(db)
        except sqlite3.OperationalError as error:
            raise _disk_error(error, path) from error
        except sqlite3.DatabaseError as error:
            logger.warning("the ledger is not usable ({}); building it anew from the folders", error)
            ledger._delete()
            return cls.opened(path)[0], True
        return ledger, fresh

    def _delete(self) -> None:
        """Delete the database and its journals."""
        for suffix in ("", "-wal", "-shm"):
            self._path.with_name(self._path.name + suffix).unlink(missing_ok=True)

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        """Give a connection for one transaction. Raise OSError where SQLite cannot read or write."""
        try:
            with self._raw() as db:
                if db.execute("PRAGMA user_version").fetchone()[0] == 0:
                    _create_tables(db)
                    self._lost = True
                yield db
        except sqlite3.Error as error:
            raise _disk_error(error, self._path) from error

    @contextmanager
    def _raw(self) -> Iterator[sqlite3.Connection]:
        """Give a connection for one transaction. Raise SQLite's own errors."""
        with self._lock, closing(self._connected()) as db:
            db.execute("PRAGMA journal_mode=WAL")
            db.execute("PRAGMA synchronous=FULL")
            with db:
                yield db

    def _connected(self) -> sqlite3.Connection:
        if not self._path.exists():
            self._delete()  # a journal left without its database must not be read into a new one
        return sqlite3.connect(self._path, timeout=30)

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Give a connection for a transaction that writes: answers in memory no longer count."""
        try:
            with self._connection() as db:
                yield db
        finally:
            self._writes += 1

    def _answer(self, question: str, ask: Callable[[sqlite3.Connection], Answer]) -> Answer:
        """Return what `ask` returns; the last answer to `question` where the file has not changed since."""
        state = self._state()
        known, answer = self._answers.get(question, (None, None))
        if state is None or known != state:
            with self._connection() as db:
                answer = ask(db)
            self._answers[question] = state, answer
        return answer  # type: ignore[return-value]  # each question has its own type of answer

    def _state(self) -> tuple[int, FileIdentity] | None:
        """Return a value that changes with the ledger's content; None where there is no file.

        No connection is open between two calls, so SQLite has moved everything from its journal to the one file.
        """
        file = identity(self._path)
        return None if file is None else (self._writes, file)

    def was_lost(self) -> bool:
        """Return whether the ledger was begun anew since the last call: then it lacks what the folders hold."""
        lost, self._lost = self._lost, False
        return lost

    def add_ready(self, path: str, record: JobRecord) -> None:
        """Enter a published revision; `path` is relative to the outbox."""
        self.add_all_ready([(path, record)])

    def add_all_ready(self, made: Iterable[tuple[str, JobRecord]]) -> None:
        """Enter several published revisions, each with its path relative to the outbox: all of them or none."""
        rows = [_ready_row(path, record) for path, record in made]
        with self._writing() as db:
            db.executemany(_ADD_READY, rows)

    def add_refused(self, path: str, name: str, rejection: Rejection) -> None:
        """Enter the folder `name` in rejects; `path` is relative to the shop's root."""
        reasons = json.dumps([r.model_dump(mode="json") for r in rejection.reasons])
        row = (path, rejection.claim, name, rejection.customer, rejection.rejected_at, reasons)
        with self._writing() as db:
            db.execute(_ADD_REFUSED, row)

    def drop_ready(self, paths: Iterable[str]) -> None:
        """Take revisions out of the ledger, by their paths."""
        self._delete_rows("DELETE FROM ready WHERE path = ?", paths)

    def drop_refused(self, paths: Iterable[str]) -> None:
        """Take folders of rejects out of the ledger, by their paths."""
        self._delete_rows("DELETE FROM refused WHERE path = ?", paths)

    def _delete_rows(self, statement: str, paths: Iterable[str]) -> None:
        gone = [(path,) for path in paths]
        if gone:
            with self._writing() as db:
                db.executemany(statement, gone)

    def ready(self, most: int = 100) -> tuple[Ready, ...]:
        """Return the newest `most` revisions, newest first."""
        query = "SELECT customer, job, revision, radios, path, made_at FROM ready ORDER BY made_at DESC, path LIMIT ?"
        return self._answer(f"ready {most}", lambda db: tuple(map(_ready, db.execute(query, (most,)).fetchall())))

    def refused(self, most: int = 100) -> tuple[RefusedDrop, ...]:
        """Return the newest `most` drops in rejects, newest first."""
        query = "SELECT name, customer, path, rejected_at, reasons FROM refused ORDER BY rejected_at DESC, path LIMIT ?"
        return self._answer(f"refused {most}", lambda db: tuple(map(_refused, db.execute(query, (most,)).fetchall())))

    def counts(self) -> tuple[int, int]:
        """Return how many revisions are ready and how many drops lie in rejects."""
        query = "SELECT (SELECT count(*) FROM ready), (SELECT count(*) FROM refused)"
        return self._answer("counts", lambda db: tuple(db.execute(query).fetchone()))

    def ready_paths(self) -> tuple[str, ...]:
        """Return the paths of all revisions, relative to the outbox."""
        with self._connection() as db:
            return tuple(path for (path,) in db.execute("SELECT path FROM ready"))

    def refused_path(self, claim: str) -> str | None:
        """Return the path of the drop in rejects that was taken under `claim`; None where there is none."""
        with self._connection() as db:
            row = db.execute("SELECT path FROM refused WHERE claim = ?", (claim,)).fetchone()
        return row[0] if row else None

    def refused_paths(self) -> tuple[str, ...]:
        """Return the paths of all drops in rejects, relative to the shop's root."""
        with self._connection() as db:
            return tuple(path for (path,) in db.execute("SELECT path FROM refused"))


def _disk_error(error: sqlite3.Error, path: Path) -> OSError:
    """Return SQLite's error as the system's. Its words do not tell a full or read-only disk from a broken one."""
    full = getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL
    number = errno.ENOSPC if full else write_error(path.parent)
    if number is None:
        return OSError(errno.EIO, f"ledger: {error}", str(path))
    return OSError(number, os.strerror(number), str(path))


def _create_tables(db: sqlite3.Connection) -> None:
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
    name, customer, path, rejected_at, reasons_json = row
    reasons = tuple(Reason.model_validate(reason) for reason in json.loads(reasons_json))
    return RefusedDrop(name=name, customer=customer, path=path, rejected_at=rejected_at, reasons=reasons)
