"""The half of the ledger that changes nothing: lists by the page, single values, pictures, the audit."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypeVarTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session as OrmSession

from workstation.ledger.audit import Audit, Progress, verify
from workstation.ledger.database import Database
from workstation.ledger.errors import LedgerError
from workstation.ledger.events import Event, event_value
from workstation.ledger.labels import comparable
from workstation.ledger.models import HistoryRow, LookRow, PortRow, SessionRow
from workstation.ledger.pictures import PictureStore
from workstation.ledger.stored import look_value, port_value, session_value
from workstation.values import Look, Port, Session

_CHUNK = 500
_Row = TypeVarTuple("_Row")


class Lookup:
    """What can be asked of a ledger.

    Attributes
    ----------
    folder
        The ledger's folder.
    """

    def __init__(self, folder: Path, database: Database, store: PictureStore) -> None:
        self.folder = folder
        self._database = database
        self._store = store

    def sessions(self, offset: int = 0, limit: int | None = None) -> tuple[Session, ...]:
        """Return the sessions, the newest first."""
        query = select(SessionRow).order_by(SessionRow.started.desc(), SessionRow.id.desc())
        with self._database.reading() as session:
            return tuple(session_value(row) for row in session.scalars(_page(query, offset, limit)))

    def session(self, session_id: int) -> Session:
        """Return one session; LedgerError when there is none of this id."""
        with self._database.reading() as session:
            return session_value(self._session_row(session, session_id))

    def ports(self, session_id: int, offset: int = 0, limit: int | None = None) -> tuple[Port, ...]:
        """Return a session's ports in their order."""
        query = select(PortRow).where(PortRow.session_id == session_id).order_by(PortRow.position)
        with self._database.reading() as session:
            return tuple(port_value(row) for row in session.scalars(_page(query, offset, limit)))

    def port(self, port_id: int) -> Port:
        """Return one port; LedgerError when there is none of this id."""
        with self._database.reading() as session:
            row = session.get(PortRow, port_id)
            if row is None:
                raise self._missing("port", port_id)
            return port_value(row)

    def find_port(self, session_id: int, label: str) -> Port | None:
        """Return the port of a session that has this label (the same letters, composed or not), or None."""
        with self._database.reading() as session:
            row = self._port_row(session, session_id, label)
            return None if row is None else port_value(row)

    def look(self, look_id: int) -> Look:
        """Return one look; LedgerError when there is none of this id."""
        found = self._looks(select(LookRow, PortRow).where(LookRow.id == look_id))
        if not found:
            raise self._missing("look", look_id)
        return found[0]

    def looks(self, session_id: int, offset: int = 0, limit: int | None = None) -> tuple[Look, ...]:
        """Return a session's looks, by the ports' order and then by number."""
        with self._database.reading() as session:
            numbers = session.scalars(_page(_look_numbers(session_id), offset, limit)).all()
        return tuple(self._numbered(numbers))

    def each_look(self, session_id: int) -> Iterator[Look]:
        """Give a session's looks one by one, in the order of `looks`, without holding them all in memory.

        Looks that are kept meanwhile don't come; none comes twice.
        """
        with self._database.reading() as session:
            numbers = session.scalars(_look_numbers(session_id)).all()
        yield from self._numbered(numbers)

    def looks_of_port(self, port_id: int) -> tuple[Look, ...]:
        """Return a port's looks, the first one first."""
        return self._looks(
            select(LookRow, PortRow).where(LookRow.port_id == port_id).order_by(LookRow.number)
        )

    def latest_look(self, port_id: int) -> Look | None:
        """Return a port's newest look, or None."""
        query = select(LookRow, PortRow).where(LookRow.port_id == port_id).order_by(LookRow.number.desc())
        return next(iter(self._looks(query.limit(1))), None)

    def latest_looks(self, session_id: int, offset: int = 0, limit: int | None = None) -> tuple[Look, ...]:
        """Return the newest look of each port that has one, in the ports' order."""
        newest = (
            select(func.max(LookRow.number))
            .where(LookRow.port_id == PortRow.id)
            .correlate(PortRow)
            .scalar_subquery()
        )
        query = select(LookRow, PortRow).where(PortRow.session_id == session_id, LookRow.number == newest)
        return self._looks(_page(query.order_by(PortRow.position), offset, limit))

    def count_looks(self, session_id: int) -> int:
        """Return how many looks a session has."""
        with self._database.reading() as session:
            query = select(func.count()).select_from(LookRow).where(LookRow.session_id == session_id)
            return session.execute(query).scalar_one()

    def picture(self, look: Look) -> NDArray[np.uint8]:
        """Return the pixels that were graded: uint8, (height, width) or (height, width, 3) blue-green-red.

        Raises
        ------
        LedgerError
            The file is missing, was altered, or can't be read.
        """
        return self._store.load(look.picture_sha256)

    def picture_path(self, look: Look) -> Path:
        """Return where the picture of a look lies."""
        return self._store.path(look.picture_sha256)

    def thumbnail(self, look: Look) -> Path:
        """Return the path of a small JPEG of a look, at most 160 pixels a side; made again when missing.

        Raises
        ------
        LedgerError
            It is missing and can't be made.
        """
        return self._store.thumbnail(look)

    def events(self, session_id: int) -> tuple[Event, ...]:
        """Return a session's events, the oldest first."""
        query = select(HistoryRow).where(HistoryRow.session_id == session_id, HistoryRow.kind == "event")
        with self._database.reading() as session:
            return tuple(event_value(row) for row in session.scalars(query.order_by(HistoryRow.sequence)))

    def verify(self, progress: Progress | None = None) -> Audit:
        """Walk the whole history, the rows and the pictures, and name the first entry that doesn't hold.

        Parameters
        ----------
        progress
            Called with the entries done and the number of all entries.
        """
        with self._database.reading() as session:
            return verify(session, self._store, progress)

    def _numbered(self, numbers: Sequence[int]) -> Iterator[Look]:
        # Walking to a page over the index and reading only its rows: the rows are large.
        for start in range(0, len(numbers), _CHUNK):
            chunk = numbers[start : start + _CHUNK]
            query = select(LookRow, PortRow).where(LookRow.id.in_(chunk))
            found = {look.id: look for look in self._looks(query)}
            yield from (found[number] for number in chunk)

    def _looks(self, query: Select[LookRow, PortRow]) -> tuple[Look, ...]:
        joined = query.join(PortRow, LookRow.port_id == PortRow.id)
        with self._database.reading() as session:
            return tuple(self._look_value(look, port) for look, port in session.execute(joined))

    def _look_value(self, look: LookRow, port: PortRow) -> Look:
        try:
            return look_value(look, port_value(port))
        except ValueError as error:
            raise LedgerError(
                f"The stored reading or verdict of look {look.id} can't be read: it was altered.",
                self._database.path,
                "Check the whole ledger, and restore a backup.",
            ) from error

    def _session_row(self, session: OrmSession, session_id: int) -> SessionRow:
        row = session.get(SessionRow, session_id)
        if row is None:
            raise self._missing("session", session_id)
        return row

    def _port_row(self, session: OrmSession, session_id: int, label: str) -> PortRow | None:
        query = select(PortRow).where(
            PortRow.session_id == session_id, PortRow.label_nfc == comparable(label)
        )
        return session.scalars(query).one_or_none()

    def _missing(self, kind: str, number: int) -> LedgerError:
        what = f"There is no {kind} of number {number} in this ledger."
        return LedgerError(what, self.folder, "Open the list again and choose from it.")


def _page(query: Select[*_Row], offset: int, limit: int | None) -> Select[*_Row]:
    if offset < 0 or (limit is not None and limit < 0):
        raise ValueError(f"a page starts at 0 or later and isn't negative: offset {offset}, limit {limit}")
    return query.offset(offset).limit(-1 if limit is None else limit)


def _look_numbers(session_id: int) -> Select[int]:
    query = select(LookRow.id).join(PortRow, LookRow.port_id == PortRow.id)
    # With the port's id in between, SQLite walks two indexes in order and sorts nothing.
    ordered = query.order_by(PortRow.position, PortRow.id, LookRow.number)
    return ordered.where(PortRow.session_id == session_id)
