"""The database: how it is opened, and how a transaction begins, ends and fails.

Threads
-------
SQLite ties a connection to one user at a time. Each transaction here takes a connection of its own from a
small pool and gives it back at its end, so any thread may call; readers run beside the writer (write-ahead
log). Writers queue at one lock in the program and take SQLite's write lock at once (``BEGIN IMMEDIATE``), so
that none can fail half-way.
"""

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session
from sqlalchemy.pool import QueuePool

from workstation.ledger.errors import LedgerError, database_error

BUSY_MS = 5000
"""How long a transaction waits for another program's write, in milliseconds."""

APPLICATION_ID = 0x464F4546
"""Marks a database file as ours (https://www.sqlite.org/pragma.html#pragma_application_id)."""


class Database:
    """One database file.

    Parameters
    ----------
    path
        The database file; made if it isn't there, unless ``read_only``.
    read_only
        Refuse every change.
    write_ahead
        Ask for the write-ahead log; not on network shares, where it can't work.
    """

    def __init__(self, path: Path, *, read_only: bool = False, write_ahead: bool = True) -> None:
        self.path = path
        self.read_only = read_only
        self.journal = ""
        self._write_ahead = write_ahead
        self._writing = threading.Lock()
        self._closed = False
        self.engine = self._make_engine()

    def _make_engine(self) -> Engine:
        address = reading_address(self.path) if self.read_only else f"{_address(self.path)}?mode=rwc"

        def connect() -> sqlite3.Connection:
            return sqlite3.connect(address, uri=True, check_same_thread=False, isolation_level=None)

        engine = create_engine(
            "sqlite://", creator=connect, poolclass=QueuePool, pool_size=4, max_overflow=12, pool_timeout=30
        )
        event.listen(engine, "connect", self._on_connect)
        event.listen(engine, "begin", _on_begin)
        return engine

    def _on_connect(self, connection: Any, record: object) -> None:
        """Set up a fresh connection; the driver begins no transactions of its own (isolation_level None)."""
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
        cursor.execute("PRAGMA foreign_keys = ON")
        if not self.read_only:
            wanted = "WAL" if self._write_ahead else "DELETE"
            # Must run outside a transaction, and is only a request: what it returns is what holds.
            self.journal = str(cursor.execute(f"PRAGMA journal_mode = {wanted}").fetchone()[0]).lower()
            # Committed means on disk, not on its way there.
            cursor.execute("PRAGMA synchronous = FULL")
        cursor.close()

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session that sees one consistent state and changes nothing.

        Raises
        ------
        LedgerError
            The ledger is closed, or the database refused.
        """
        self._check_open()
        with self._in_words(), self.engine.connect() as connection, connection.begin() as transaction:
            with Session(bind=connection, autoflush=False) as session:
                yield session
            transaction.rollback()

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Give a session whose changes are on disk when the block ends, and undone when it raises anything.

        Raises
        ------
        LedgerError
            The ledger is closed or was opened only to read, another program is writing, or the database
            refused.
        """
        self._check_open()
        if self.read_only:
            raise LedgerError("This ledger was opened only to read.", self.path, "Open it for writing first.")
        with self._writing, self._in_words(), self.engine.connect() as bare:
            connection = bare.execution_options(writes=True)
            # The context manager commits at the end of the block and rolls back on every exception,
            # KeyboardInterrupt and SystemExit included.
            with connection.begin(), Session(bind=connection) as session:
                yield session
                session.flush()

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            raise database_error(error.orig, self.path) from error
        except PoolTimeout as error:
            todo = "Wait for them to finish, then try again. Nothing was changed."
            what = "Too many parts of the program read the ledger at once."
            raise LedgerError(what, self.path, todo) from error

    def _check_open(self) -> None:
        if self._closed:
            raise LedgerError("This ledger was closed.", self.path, "Open it again.")

    def close(self) -> None:
        """Wait for a running write, then close every connection; a second call does nothing."""
        with self._writing:
            self._closed = True
            self.engine.dispose()


def reading_address(path: Path) -> str:
    """Return the address under which SQLite opens a database only to read.

    Reading a write-ahead log needs a file beside it. Where nobody may make one, and nothing waits in a log,
    nothing can change either, and SQLite is told so (https://www.sqlite.org/uri.html, ``immutable``).
    """
    address = f"{_address(path)}?mode=ro"
    log = path.with_name(f"{path.name}-wal")
    may_write = os.access(path.parent, os.W_OK, effective_ids=os.access in os.supports_effective_ids)
    waiting = log.exists() and log.stat().st_size > 0
    return address if may_write or waiting else f"{address}&immutable=1"


def _address(path: Path) -> str:
    # Path.as_uri puts a share's server where SQLite allows nobody but this computer.
    place = quote(path.absolute().as_posix())
    return f"file://{place}" if place.startswith("/") else f"file:///{place}"


def _on_begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
