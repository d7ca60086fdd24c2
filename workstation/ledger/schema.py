"""Bringing a database to the tables that this version of the program knows: new, older, or refused."""

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.exc import DBAPIError

from workstation.ledger.database import APPLICATION_ID, Database, reading_address
from workstation.ledger.errors import LedgerError, database_error, file_error

MIGRATIONS = Path(__file__).resolve().parent / "migrations"
_MAGIC = b"SQLite format 3\x00"  # https://www.sqlite.org/fileformat.html, section 1.3.1
_ELSEWHERE = "Choose another folder, or move that file away. It was not touched."
# Alembic keeps the running upgrade in a variable of its module: one at a time.
_upgrading = threading.Lock()


def bring_up_to_date(database: Database, migrations: Path | None = None) -> None:
    """Make the tables of a new ledger, or upgrade those of an older one after copying it aside.

    Parameters
    ----------
    database
        The open database, which `check_file` has let pass; one opened only to read is checked and not
        changed.
    migrations
        Folder of Alembic migrations; None for the program's own.

    Raises
    ------
    LedgerError
        The ledger was written by a newer program, or is older and was opened only to read.
    """
    config = Config()
    # Alembic's settings know "%" as the start of a name.
    config.set_main_option("script_location", str(migrations or MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)
    try:
        current, head = _current(database), script.get_current_head()
        if current == head:
            return
        if current is not None and current not in {revision.revision for revision in script.walk_revisions()}:
            raise LedgerError(
                "This ledger was written by a newer version of this program (its tables are of version "
                f"{current}, this program knows them up to {head}).",
                database.path,
                "Install the newer version to open it. Nothing was changed.",
            )
        if database.read_only:
            raise LedgerError(
                "There is no finished ledger of this version in the folder yet.",
                database.path,
                "Open it once for writing: that makes or upgrades it.",
            )
        if current is not None:
            copy_aside(database.path, current)
        with _upgrading:
            _upgrade(database, config)
    except DBAPIError as error:
        raise database_error(error.orig, database.path) from error


def check_file(path: Path) -> None:
    """Refuse a file that isn't a ledger of this program before anything is written to it.

    Raises
    ------
    LedgerError
        The file is there and is no database, or is somebody else's, or can't be read.
    """
    try:
        if not path.exists() or path.stat().st_size == 0:
            return
        with path.open("rb") as file:
            if file.read(len(_MAGIC)) != _MAGIC:
                raise LedgerError("The file isn't a ledger: it is no database.", path, _ELSEWHERE)
    except OSError as error:
        raise file_error(error, path, "open the ledger") from error
    try:
        with closing(sqlite3.connect(reading_address(path), uri=True)) as connection:
            mark = connection.execute("PRAGMA application_id").fetchone()[0]
            tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except sqlite3.Error as error:
        raise database_error(error, path) from error
    # A program that was killed while it made its first ledger leaves a database without mark and tables.
    if mark != APPLICATION_ID and (mark != 0 or tables):
        raise LedgerError("The file is a database, but not a ledger of this program.", path, _ELSEWHERE)


def copy_aside(path: Path, revision: str) -> Path:
    """Copy a database beside itself before an upgrade, by SQLite's backup and not as a file.

    Returns
    -------
    Path
        The copy; an older copy of the same revision is replaced.

    Raises
    ------
    LedgerError
        The copy can't be written.
    """
    copy = path.with_name(f"{path.stem}-before-{revision}{path.suffix}")
    try:
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
            source.backup(target)
    except sqlite3.Error as error:
        raise database_error(error, copy) from error
    return copy


def _current(database: Database) -> str | None:
    """Return the revision of the tables, or None for a database that is still empty."""
    with database.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def _upgrade(database: Database, config: Config, target: str = "head") -> None:
    # One transaction for all steps: an upgrade that fails leaves the ledger as it was.
    with database.engine.connect() as bare:
        connection = bare.execution_options(writes=True)
        with connection.begin():
            config.attributes["connection"] = connection
            command.upgrade(config, target)
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
