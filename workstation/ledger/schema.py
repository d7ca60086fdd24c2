"""Bringing a database to the tables that this version of the program knows: new, older, or refused."""

import sqlite3
from contextlib import closing
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect
from sqlalchemy.exc import DBAPIError

from workstation.ledger.database import APPLICATION_ID, Database
from workstation.ledger.errors import LedgerError, database_error

MIGRATIONS = Path(__file__).resolve().parent / "migrations"
_MAGIC = b"SQLite format 3\x00"  # https://www.sqlite.org/fileformat.html, section 1.3.1


def bring_up_to_date(database: Database, migrations: Path = MIGRATIONS) -> None:
    """Make the tables of a new ledger, or upgrade those of an older one after copying it aside.

    Parameters
    ----------
    database
        The open database; one opened only to read is checked and not changed.
    migrations
        Folder of Alembic migrations.

    Raises
    ------
    LedgerError
        The file is no ledger of ours, was written by a newer program, or is older and was opened only to read.
    """
    check_file(database.path)
    config = Config()
    config.set_main_option("script_location", str(migrations).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)
    try:
        current = _current(database)
        head = script.get_current_head()
        if current == head:
            return
        if current is not None and current not in {revision.revision for revision in script.walk_revisions()}:
            raise LedgerError(
                f"This ledger was written by a newer version of this program (its tables are of version {current}, "
                f"this program knows them up to {head}).",
                database.path,
                "Install the newer version to open it. Nothing was changed.",
            )
        if database.read_only:
            raise LedgerError(
                "This ledger was written by an older version of this program and must be upgraded first.",
                database.path,
                "Open it once for writing.",
            )
        if current is not None:
            copy_aside(database.path, current)
        _upgrade(database, config)
    except DBAPIError as error:
        raise database_error(error, database.path) from error


def check_file(path: Path) -> None:
    """Refuse a file that isn't a database before anything is written to it.

    Raises
    ------
    LedgerError
        The file is there and isn't an SQLite database.
    """
    if path.exists() and path.stat().st_size > 0:
        with path.open("rb") as file:
            if file.read(len(_MAGIC)) != _MAGIC:
                todo = "Choose another folder, or move that file away. It was not touched."
                raise LedgerError("The file isn't a ledger: it is no database.", path, todo)


def copy_aside(path: Path, revision: str) -> Path:
    """Copy a database beside itself before an upgrade, by SQLite's backup and not as a file.

    Returns
    -------
    Path
        The copy; an older copy of the same revision is replaced.
    """
    copy = path.with_name(f"{path.stem}-before-{revision}{path.suffix}")
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
    return copy


def _current(database: Database) -> str | None:
    """Return the revision of the tables, or None for a database that is still empty."""
    with database.engine.connect() as connection:
        mark = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
        tables = inspect(connection).get_table_names()
        if mark != APPLICATION_ID and (mark != 0 or tables):
            raise LedgerError(
                "The file is a database, but not a ledger of this program.",
                database.path,
                "Choose another folder, or move that file away. It was not touched.",
            )
        return MigrationContext.configure(connection).get_current_revision()


def _upgrade(database: Database, config: Config) -> None:
    # One transaction for all steps: an upgrade that fails leaves the ledger as it was.
    with database.engine.connect() as bare:
        connection = bare.execution_options(writes=True)
        with connection.begin():
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
