"""The ledger: a view of the folders that answers quickly. It can be deleted at any time and is rebuilt.

SQLite on the shop's local disk, WAL, synchronous=FULL. Nothing is ever decided from it alone.
"""

from __future__ import annotations

import errno
import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from loguru import logger

from keyturn.reasons import Reason
from keyturn.records import JobRecord, Ready, RefusedDrop, Rejection

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


class Ledger:
    """One connection a call: the service's loop and its bench thread both write."""

    def __init__(self, path: Path) -> None:
        self._path = path

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
                db.executescript(_SCHEMA)
                db.execute(f"PRAGMA user_version = {_VERSION}")
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
                yield db
        except sqlite3.Error as error:
            raise OSError(errno.EIO, f"ledger: {error}", str(self._path)) from error

    @contextmanager
    def _raw(self) -> Iterator[sqlite3.Connection]:
        with closing(sqlite3.connect(self._path, timeout=30)) as db:
            db.execute("PRAGMA journal_mode=WAL")
            db.execute("PRAGMA synchronous=FULL")
            with db:
                yield db

    def add_ready(self, path: str, record: JobRecord) -> None:
        """Records a published revision; `path` is relative to the outbox."""
        radios = json.dumps([r.radio for r in record.radios])
        row = (
            path,
            record.claim,
            record.customer,
            record.job,
            record.revision,
            radios,
            record.digest,
            record.made_at,
        )
        with self._connection() as db:
            db.execute("INSERT OR REPLACE INTO ready VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row)

    def add_refused(self, path: str, name: str, rejection: Rejection) -> None:
        """Records a folder in rejects; `path` is relative to the shop's root."""
        reasons = json.dumps([r.model_dump(mode="json") for r in rejection.reasons])
        row = (path, rejection.claim, name, rejection.customer, rejection.rejected_at, reasons)
        with self._connection() as db:
            db.execute("INSERT OR REPLACE INTO refused VALUES (?, ?, ?, ?, ?, ?)", row)

    def drop_refused(self, paths: Iterable[str]) -> None:
        gone = [(path,) for path in paths]
        if not gone:
            return
        with self._connection() as db:
            db.executemany("DELETE FROM refused WHERE path = ?", gone)

    def drop_ready(self, paths: Iterable[str]) -> None:
        gone = [(path,) for path in paths]
        if not gone:
            return
        with self._connection() as db:
            db.executemany("DELETE FROM ready WHERE path = ?", gone)

    def ready(self, most: int = 100) -> tuple[Ready, ...]:
        query = "SELECT customer, job, revision, radios, path, made_at FROM ready ORDER BY made_at DESC, path LIMIT ?"
        with self._connection() as db:
            rows = db.execute(query, (most,)).fetchall()
        return tuple(
            Ready(customer=c, job=j, revision=n, radios=tuple(json.loads(radios)), path=p, made_at=at)
            for c, j, n, radios, p, at in rows
        )

    def refused(self, most: int = 100) -> tuple[RefusedDrop, ...]:
        query = "SELECT name, customer, path, rejected_at, reasons FROM refused ORDER BY rejected_at DESC, path LIMIT ?"
        with self._connection() as db:
            rows = db.execute(query, (most,)).fetchall()
        return tuple(
            RefusedDrop(
                name=name,
                customer=customer,
                path=path,
                rejected_at=at,
                reasons=tuple(Reason.model_validate(r) for r in json.loads(reasons)),
            )
            for name, customer, path, at, reasons in rows
        )

    def counts(self) -> tuple[int, int]:
        """How many revisions are ready and how many drops lie in rejects."""
        with self._connection() as db:
            ready = db.execute("SELECT count(*) FROM ready").fetchone()[0]
            refused = db.execute("SELECT count(*) FROM refused").fetchone()[0]
        return ready, refused

    def ready_paths(self) -> tuple[str, ...]:
        with self._connection() as db:
            return tuple(path for (path,) in db.execute("SELECT path FROM ready"))

    def refused_paths(self) -> tuple[str, ...]:
        with self._connection() as db:
            return tuple(path for (path,) in db.execute("SELECT path FROM refused"))
