"""One writer to a ledger: a lock on a small file.

The operating system lets it go when the program ends, killed or not.
"""

import os
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

from workstation.ledger.errors import LedgerError, file_error

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

NAME = "writer.lock"

# A POSIX record lock belongs to the process: a second one from the same process would be granted, and closing
# any handle of the file would drop the first. So windows of one process are told apart here. (A lock of the
# other kind, flock, would outlive a killed program in the worker processes that it had forked.)
_held: set[str] = set()
_held_lock = threading.Lock()


class WriterGuard:
    """Holds the right to write to the ledger in ``folder`` until `release`.

    Raises
    ------
    LedgerError
        Another window or command has the ledger open for writing, or the folder can't be written.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / NAME
        self._key = os.path.realpath(folder)
        with _held_lock:
            if self._key in _held:
                raise _taken(folder, "another window of this program")
            self._handle = self._lock(folder)
            _held.add(self._key)

    def _lock(self, folder: Path) -> int:
        try:
            handle = os.open(self._path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        except OSError as error:
            raise file_error(error, self._path, "open the ledger for writing") from error
        try:
            _try_lock(handle)
        except OSError as error:
            holder = _holder(handle)
            os.close(handle)
            raise _taken(folder, holder) from error
        try:
            words = f"process {os.getpid()} since {datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC".encode()
            os.ftruncate(handle, 0)
            # Byte 0 is the one that is locked; Windows lets nobody read it, so the words start after it.
            os.lseek(handle, 0, os.SEEK_SET)
            os.write(handle, b"\n" + words)
        except OSError as error:
            os.close(handle)
            raise file_error(error, self._path, "open the ledger for writing") from error
        return handle

    def release(self) -> None:
        """Let the ledger go; a second call does nothing."""
        with _held_lock:
            if self._key in _held and self._handle >= 0:
                os.close(self._handle)
                self._handle = -1
                _held.discard(self._key)


def _taken(folder: Path, holder: str) -> LedgerError:
    return LedgerError(
        f"This ledger is already open for writing in {holder}.",
        folder,
        "Close it there first, or choose another folder. Nothing was changed.",
    )


def _try_lock(handle: int) -> None:
    if sys.platform == "win32":
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        fcntl.lockf(handle, fcntl.LOCK_EX | fcntl.LOCK_NB, 1)


def _holder(handle: int) -> str:
    os.lseek(handle, 1, os.SEEK_SET)
    words = os.read(handle, 200).decode("utf-8", "replace").strip()
    return f"another window or command ({words})" if words else "another window or command"
