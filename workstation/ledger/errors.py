"""The one error that the ledger raises for what a person can mend: what happened, where, what to do."""

import errno
import sqlite3
from pathlib import Path


class LedgerError(Exception):
    """Something went wrong with the ledger; nothing that was acknowledged is lost.

    Attributes
    ----------
    what, where, todo
        What happened, the place it happened at (a path, mostly), and what to do about it; sentences for a
        person.
    """

    def __init__(self, what: str, where: str | Path = "", todo: str = "") -> None:
        self.what = what
        self.where = str(where)
        self.todo = todo
        super().__init__(
            " ".join(part for part in (what, f"({self.where})" if self.where else "", todo) if part)
        )


_DATABASE_WORDS = {
    sqlite3.SQLITE_BUSY: (
        "The ledger is busy: another window or command is writing to it.",
        "Wait for it to finish or close it, then try again. Nothing was changed.",
    ),
    sqlite3.SQLITE_LOCKED: (
        "The ledger is busy: another part of the program is writing to it.",
        "Try again in a moment. Nothing was changed.",
    ),
    sqlite3.SQLITE_READONLY: (
        "The ledger can't be written: its file or folder is read-only.",
        "Ask for the right to write there, or choose another folder. Nothing was changed.",
    ),
    sqlite3.SQLITE_FULL: (
        "The ledger can't grow: the disk is full.",
        "Free some space, then try again. What was saved before is safe; this change was not made.",
    ),
    sqlite3.SQLITE_IOERR: (
        "The disk refused to read or write the ledger.",
        "Check that the disk is connected, healthy and has room, then try again. This change was not made.",
    ),
    sqlite3.SQLITE_CORRUPT: (
        "The ledger's database is damaged.",
        "Don't write to it any more; copy the whole folder, then restore a backup.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "The ledger's database can't be opened.",
        "Check that the folder exists and that you may read and write there.",
    ),
    sqlite3.SQLITE_NOTADB: (
        "The file isn't a ledger: it is no database.",
        "Choose another folder, or move that file away.",
    ),
}


def database_error(error: BaseException | None, where: Path) -> LedgerError:
    """Say a database's error in words.

    Parameters
    ----------
    error
        As the database's driver raised it (``orig`` of SQLAlchemy's).
    where
        The database file.

    Returns
    -------
    LedgerError
        Words for the codes that a person can do something about; for any other code, the database's own
        words.
    """
    # The low byte is the primary result code (https://www.sqlite.org/rescode.html).
    code = int(getattr(error, "sqlite_errorcode", 0)) & 0xFF
    what, todo = _DATABASE_WORDS.get(
        code,
        (
            f"The ledger's database refused: {error}.",
            "The change was not made. Report this with the words above.",
        ),
    )
    return LedgerError(what, where, todo)


def file_error(error: OSError, where: Path, doing: str) -> LedgerError:
    """Say a file system's error in words.

    Parameters
    ----------
    error
        As the operating system raised it.
    where
        The file or folder.
    doing
        What was being done, as in ``"save the picture"``.

    Returns
    -------
    LedgerError
        What happened, where, and what to do.
    """
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return LedgerError(f"Can't {doing}: the disk is full.", where, "Free some space, then try again.")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        todo = "Ask for the right to write there, or choose another folder."
        return LedgerError(f"Can't {doing}: the folder is read-only for you.", where, todo)
    if error.errno in (errno.ENOTDIR, errno.EEXIST):
        todo = "Choose a folder, or move that file away."
        return LedgerError(f"Can't {doing}: a file stands where a folder should be.", where, todo)
    if error.errno == errno.ENOENT:
        return LedgerError(f"Can't {doing}: it isn't there.", where, "Check that nobody moved or deleted it.")
    words = error.strerror or str(error)
    return LedgerError(f"Can't {doing}: {words}.", where, "Check that the disk is connected and has room.")
