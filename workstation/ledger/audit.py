"""Proving a ledger whole: the chain of its history, the rows that it tells of, and the pictures."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from workstation.ledger.history import FIRST_PREVIOUS, entry_hash, row_body
from workstation.ledger.models import HistoryRow, LookRow, PortRow, SessionRow
from workstation.ledger.pictures import PictureStore

Progress = Callable[[int, int], None]

_ROWS: dict[str, type[SessionRow] | type[PortRow] | type[LookRow]] = {
    "session": SessionRow,
    "port": PortRow,
    "look": LookRow,
}
_CHUNK = 500


@dataclass(frozen=True, slots=True)
class Audit:
    """What a walk through the history found.

    Attributes
    ----------
    whole
        Whether everything holds.
    entries, pictures
        How many entries and pictures were checked.
    entry
        Number of the first entry that doesn't hold; None when all hold, or when the fault lies in no entry.
    fault
        In words, what doesn't hold; empty when everything does.
    newest_hash
        Hash of the newest entry that holds: written down elsewhere, it later proves that nothing was cut off
        or replaced.
    """

    whole: bool
    entries: int
    pictures: int
    entry: int | None
    fault: str
    newest_hash: str


def verify(session: Session, store: PictureStore, progress: Progress | None = None) -> Audit:
    """Walk a ledger's history from its first entry.

    Parameters
    ----------
    session
        Sees one consistent state of the database.
    store
        The pictures.
    progress
        Called with the entries done and the number of all entries.

    Returns
    -------
    Audit
        Whole, or the first entry that doesn't hold.
    """
    walk = _Walk(session, store)
    try:
        fault = walk.run(progress) or walk.loose_rows() or walk.database_fault()
    except DatabaseError as error:
        fault = f"the database is damaged after entry {walk.entries}: {error.orig}"
        walk.at = None
    except (ValueError, TypeError) as error:
        # A stored text that is no time, no number or no JSON any more: somebody wrote it over.
        fault = f"the entry after entry {walk.entries}, or its row, can't be read any more: {error}"
        walk.at = walk.entries + 1
    return Audit(not fault, walk.entries, walk.pictures, walk.at if fault else None, fault, walk.previous)


class _Walk:
    def __init__(self, session: Session, store: PictureStore) -> None:
        self._session = session
        self._store = store
        self._checked_pictures: set[str] = set()
        self.entries = 0
        self.at: int | None = None
        self.previous = FIRST_PREVIOUS

    @property
    def pictures(self) -> int:
        return len(self._checked_pictures)

    def run(self, progress: Progress | None) -> str:
        total = self._session.execute(select(func.count()).select_from(HistoryRow)).scalar_one()
        while True:
            query = select(HistoryRow).where(HistoryRow.sequence > self.entries).order_by(HistoryRow.sequence)
            rows = self._session.scalars(query.limit(_CHUNK)).all()
            if not rows:
                return ""
            for row in rows:
                fault = self._entry_fault(row)
                if fault:
                    self.at = self.entries + 1
                    return f"entry {self.at} ({_name(row)}) doesn't hold: {fault}"
                self.entries = row.sequence
                self.previous = row.hash
            self._session.expunge_all()
            if progress is not None:
                progress(self.entries, total)

    def _entry_fault(self, row: HistoryRow) -> str:
        if row.sequence != self.entries + 1:
            return f"entry {self.entries + 1} is missing, {row.sequence} follows {self.entries}"
        if row.previous != self.previous:
            return "it isn't chained to the entry before it"
        if entry_hash(row) != row.hash:
            return "the entry itself was altered"
        table = _ROWS.get(row.kind)
        return "" if table is None else self._row_fault(row, table)

    def _row_fault(self, entry: HistoryRow, table: type[SessionRow] | type[PortRow] | type[LookRow]) -> str:
        if self._told_again(entry):
            return ""  # a later entry tells how the row is now
        row = self._session.get(table, entry.subject_id)
        if row is None:
            return f"its {entry.kind} {entry.subject_id} is missing"
        told: dict[str, Any] = json.loads(entry.body)
        held = row_body(row)
        names = sorted(told.keys() | held.keys())
        different = [name for name in names if told.get(name) != held.get(name)]
        if different:
            return f"its {entry.kind} {entry.subject_id} was altered in: {', '.join(different)}"
        if isinstance(row, LookRow) and row.picture_sha256 not in self._checked_pictures:
            self._checked_pictures.add(row.picture_sha256)
            return self._store.fault(row.picture_sha256)
        return ""

    def _told_again(self, entry: HistoryRow) -> bool:
        later = select(HistoryRow.sequence).where(
            HistoryRow.kind == entry.kind,
            HistoryRow.subject_id == entry.subject_id,
            HistoryRow.sequence > entry.sequence,
        )
        return self._session.scalars(later.limit(1)).first() is not None

    def loose_rows(self) -> str:
        for kind, table in _ROWS.items():
            told = select(HistoryRow.sequence).where(
                HistoryRow.kind == kind, HistoryRow.subject_id == table.id
            )
            query = select(table.id).where(~told.exists()).order_by(table.id).limit(1)
            loose = self._session.scalars(query).first()
            if loose is not None:
                return f"{kind} {loose} is in no entry: entries were cut off, or it was slipped in"
        return ""

    def database_fault(self) -> str:
        words = self._session.connection().exec_driver_sql("PRAGMA integrity_check(1)").scalar_one()
        return "" if words == "ok" else f"the database is damaged: {words}"


def _name(row: HistoryRow) -> str:
    return row.kind if row.subject_id is None else f"{row.kind} {row.subject_id}"
