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
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TypeVar

from keyturn.outbox import ledger_rows
from keyturn.outbox.ledger_rows import MadeFor, SameRows, Standing
from keyturn.shop.disk_look import write_error
from keyturn.shop.file_identity import FileIdentity, identity
from keyturn.shop.records import JobRecord, Rejection
from keyturn.shop.state_records import FleetCount, Place, PlaceCounts, PlacedJob, Ready, RefusedDrop

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
        self._jobs_wanted: tuple[Place, str, str] | None = None
        self._ready_rows, self._job_rows = SameRows(ledger_rows.ready), SameRows(ledger_rows.placed_job)

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
                if not fresh and version != ledger_rows.VERSION:
                    raise sqlite3.DatabaseError(f"ledger version {version}")
                if db.execute("PRAGMA quick_check").fetchone()[0] != "ok":
                    raise sqlite3.DatabaseError("quick_check failed")
                ledger_rows.create_tables(db)
        except sqlite3.OperationalError as error:
            raise _disk_error(error, path) from error
        except sqlite3.DatabaseError as error:
            from loguru import logger

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
                    ledger_rows.create_tables(db)
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
        """Give a connection for a transaction that writes. After it, answers kept in memory are asked for again."""
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

        Looking at the one file is enough: a connection is closed after each call, and SQLite then moves all that is in
        its journal into that file.
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
        rows = [ledger_rows.ready_row(path, record) for path, record in made]
        with self._writing() as db:
            db.executemany(ledger_rows.ADD_READY, rows)

    def add_refused(self, path: str, name: str, rejection: Rejection) -> None:
        """Enter a refused drop: its folder in rejects is called `name` and lies at `path` in the shop's root."""
        reasons = json.dumps([r.model_dump(mode="json") for r in rejection.reasons])
        row = (path, rejection.claim, name, rejection.customer, rejection.rejected_at, reasons)
        with self._writing() as db:
            db.execute(ledger_rows.ADD_REFUSED, row)

    def set_standings(self, found: Mapping[str, Standing | None]) -> None:
        """Enter where revisions stand, by their paths. None: nothing is said of the revision."""
        said = [(path, *ledger_rows.standing_row(standing)) for path, standing in found.items() if standing]
        if found:
            with self._writing() as db:
                db.executemany("DELETE FROM standing WHERE path = ?", [(path,) for path in found])
                db.executemany(ledger_rows.ADD_STANDING, said)

    def standings(self) -> dict[str, Standing]:
        """Return where the revisions stand of which anything is said, by their paths."""
        query = f"SELECT path, {ledger_rows.OF_STANDING} FROM standing"
        return self._answer("standings", lambda db: {path: Standing(*said) for path, *said in db.execute(query)})

    def jobs(self, unsaid: Place, fitted_since: str, made_since: str) -> tuple[tuple[PlacedJob, ...], PlaceCounts]:
        """Return the newest revision of each job, the oldest first in each place, and the counts.

        A job of which nobody says how far it is stands in `unsaid`. Those fitted before `fitted_since`, and those made
        before `made_since` of which nothing is said, are counted only. Both are ISO 8601 in UTC.
        """
        wanted = unsaid, fitted_since, made_since
        if wanted != self._jobs_wanted:  # the times change by the hour: only the last answer is kept
            self._answers.pop("jobs", None)
            self._jobs_wanted = wanted
        return self._answer("jobs", lambda db: ledger_rows.jobs(db, wanted, self._job_rows))

    def drop_ready(self, paths: Iterable[str]) -> None:
        """Take revisions out of the ledger, by their paths."""
        self._delete_rows("DELETE FROM ready WHERE path = ?", gone := list(paths))
        self._delete_rows("DELETE FROM standing WHERE path = ?", gone)

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
        query = f"SELECT {ledger_rows.OF_READY} FROM ready ORDER BY made_at DESC, path LIMIT ?"
        return self._answer(f"ready {most}", lambda db: self._ready_rows.of(db.execute(query, (most,))))

    def fleets(self, most: int) -> tuple[FleetCount, ...]:
        """Return the newest `most` fleets, newest first, each with how many revisions were made of it."""
        return self._answer("fleets", lambda db: tuple(map(ledger_rows.fleet, db.execute(ledger_rows.FLEETS, (most,)))))

    def refused(self, most: int = 100) -> tuple[RefusedDrop, ...]:
        """Return the newest `most` drops in rejects, newest first."""
        query = "SELECT name, customer, path, rejected_at, reasons FROM refused ORDER BY rejected_at DESC, path LIMIT ?"
        return self._answer(
            f"refused {most}", lambda db: tuple(map(ledger_rows.refused, db.execute(query, (most,)).fetchall()))
        )

    def counts(self) -> tuple[int, int]:
        """Return how many revisions are ready and how many drops lie in rejects."""
        query = "SELECT (SELECT count(*) FROM ready), (SELECT count(*) FROM refused)"
        return self._answer("counts", lambda db: tuple(db.execute(query).fetchone()))

    def made_for(self) -> dict[str, MadeFor]:
        """Return what every revision was made for, by its path."""
        query = "SELECT path, radios, vehicles FROM ready"
        return self._answer(
            "made for",
            lambda db: {
                path: MadeFor(*(tuple(json.loads(each)) for each in told)) for path, *told in db.execute(query)
            },
        )

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
