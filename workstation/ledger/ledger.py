"""The one door to sessions, ports, looks and their pictures.

Plain values go in and come out. A look counts as kept only when `Ledger.keep_look` has returned: its picture
and its row are on disk by then. Every method may be called from any thread (``database.py`` says how).
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVarTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session as OrmSession

from workstation.ledger import history
from workstation.ledger.audit import Audit, Progress, verify
from workstation.ledger.database import Database
from workstation.ledger.errors import LedgerError, file_error
from workstation.ledger.events import Event, event_body, event_value
from workstation.ledger.guard import WriterGuard
from workstation.ledger.labels import checked_text, comparable
from workstation.ledger.models import HistoryRow, LookRow, PortRow, SessionRow
from workstation.ledger.pictures import PictureStore, check_pixels
from workstation.ledger.schema import bring_up_to_date, check_file
from workstation.ledger.shares import network_share
from workstation.ledger.stored import (
    largest_um,
    leading_feature,
    look_value,
    port_value,
    reading_text,
    session_value,
    verdict_text,
)
from workstation.values import Form, Look, Port, Reading, Session, Verdict

DATABASE = "ledger.sqlite3"
"""Name of the database file in a ledger's folder."""


_CHUNK = 500
_Row = TypeVarTuple("_Row")


def _now() -> datetime:
    return datetime.now(UTC)


class Ledger:
    """Sessions, ports and looks in one folder; made by `Ledger.open`.

    Attributes
    ----------
    folder
        The ledger's folder.
    notices
        Sentences that a person should see once after opening, such as that the folder lies on a network
        share.
    """

    def __init__(
        self,
        folder: Path,
        database: Database,
        store: PictureStore,
        guard: WriterGuard | None,
        clock: Callable[[], datetime],
    ) -> None:
        self.folder = folder
        self.notices: tuple[str, ...] = ()
        self._database = database
        self._store = store
        self._guard = guard
        self._clock = clock

    @classmethod
    def open(
        cls, folder: str | Path, *, read_only: bool = False, clock: Callable[[], datetime] = _now
    ) -> "Ledger":
        """Open the ledger in a folder; a new folder gets a new ledger, an older ledger is upgraded.

        Parameters
        ----------
        folder
            The ledger's folder.
        read_only
            Look only: works beside a window that writes, and in a folder that can't be written.
        clock
            Gives the time now, with its zone.

        Returns
        -------
        Ledger
            Close it, or use it in a ``with`` block.

        Raises
        ------
        LedgerError
            The folder can't be used, holds something else, is open for writing elsewhere, or a newer program
            wrote it.
        """
        folder = Path(folder).absolute()
        path = folder / DATABASE
        if read_only:
            if not path.is_file():
                raise LedgerError("There is no ledger in this folder.", folder, "Check the folder's name.")
            check_file(path)
            return cls._opened(folder, None, "", clock)
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise file_error(error, folder, "open the ledger") from error
        check_file(path)
        guard = WriterGuard(folder)
        try:
            return cls._opened(folder, guard, network_share(folder), clock)
        except BaseException:
            guard.release()
            raise

    @classmethod
    def _opened(
        cls, folder: Path, guard: WriterGuard | None, share: str, clock: Callable[[], datetime]
    ) -> "Ledger":
        database = Database(folder / DATABASE, read_only=guard is None, write_ahead=not share)
        try:
            bring_up_to_date(database)
            store = PictureStore(folder)
            if guard is not None:
                store.make_folders()
        except BaseException:
            database.close()
            raise
        ledger = cls(folder, database, store, guard, clock)
        if guard is not None and database.journal != "wal":
            kind = f"a network share ({share})" if share else "a disk without a write-ahead log"
            ledger.notices = (
                f"The ledger's folder {folder} is on {kind}: saving is slower there, and a list may have to "
                "wait while a picture is saved. A folder on this computer's own disk is safer.",
            )
        return ledger

    def close(self) -> None:
        """Wait for a running save, then let the ledger go; a second call does nothing."""
        self._database.close()
        if self._guard is not None:
            self._guard.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # Sessions

    def start_session(
        self, name: str, operator: str, scope: str, criteria_id: str, source_dark: str = ""
    ) -> Session:
        """Start a session now.

        Parameters
        ----------
        name, operator, scope, criteria_id
            What it is called, who sits at the bench, which microscope, which criteria; only the name must not
            be empty.
        source_dark
            How the person made sure that the fibres carry no light, or empty.

        Returns
        -------
        Session
            With its id and start.

        Raises
        ------
        LedgerError
            A text is too long or holds control characters, or the ledger can't be written.
        """
        row = SessionRow(
            name=checked_text(name, "session's name", required=True),
            started=self._clock(),
            operator=checked_text(operator, "operator's name", required=False),
            scope=checked_text(scope, "microscope's name", required=False),
            criteria_id=checked_text(criteria_id, "criteria's name", required=False),
            source_dark=checked_text(source_dark, "note on the dark source", required=False),
        )
        with self._database.writing() as session:
            session.add(row)
            session.flush()
            self._tell(session, "session", row.started, row, session_id=row.id)
            return session_value(row)

    def sessions(self, offset: int = 0, limit: int | None = None) -> tuple[Session, ...]:
        """Return the sessions, the newest first."""
        query = select(SessionRow).order_by(SessionRow.started.desc(), SessionRow.id.desc())
        with self._database.reading() as session:
            return tuple(session_value(row) for row in session.scalars(_page(query, offset, limit)))

    def session(self, session_id: int) -> Session:
        """Return one session; LedgerError when there is none of this id."""
        with self._database.reading() as session:
            return session_value(self._session_row(session, session_id))

    # Ports

    def add_port(self, session_id: int, label: str) -> Port:
        """Add a port at the end of a session's list.

        Parameters
        ----------
        session_id
            The session.
        label
            1 to 300 characters, kept exactly; anything but control characters.

        Raises
        ------
        LedgerError
            The label can't be used, the session has a port of that label (the same letters, composed or not),
            there is no such session, or the ledger can't be written.
        """
        checked_text(label, "port label", required=True)
        with self._database.writing() as session:
            self._session_row(session, session_id)
            there = self._port_row(session, session_id, label)
            if there is not None:
                raise LedgerError(
                    f"This session already has a port labelled {there.label!r} (place {there.position + 1}).",
                    self.folder,
                    "Take another look of that port, or give the new one another label.",
                )
            last = session.scalar(select(func.max(PortRow.position)).where(PortRow.session_id == session_id))
            row = PortRow(
                session_id=session_id,
                label=label,
                label_nfc=comparable(label),
                position=0 if last is None else last + 1,
            )
            session.add(row)
            session.flush()
            self._tell(session, "port", self._clock(), row, session_id=session_id)
            return port_value(row)

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

    # Looks

    def keep_look(
        self,
        port_id: int,
        pixels: NDArray[np.uint8],
        reading: Reading,
        verdict: Verdict,
        source: str,
        seconds: float,
        taken: datetime | None = None,
    ) -> Look:
        """Keep a look; when this returns, its picture and its row are on disk.

        Parameters
        ----------
        port_id
            The port.
        pixels
            The picture that was graded: uint8, (height, width) grey or (height, width, 3) blue-green-red.
        reading, verdict
            What was found in it, and what the criteria say.
        source
            Name of the frame source.
        seconds
            Time spent measuring and grading.
        taken
            When the picture was taken, with its zone; None for now.

        Returns
        -------
        Look
            With its id, number and the picture's SHA-256.

        Raises
        ------
        ValueError
            The pixels have another shape or type, or ``taken`` has no zone.
        LedgerError
            There is no such port, or the picture or the row can't be written. No look is kept then.
        """
        check_pixels(pixels)
        row = _look_row(port_id, reading, verdict, source, seconds, taken or self._clock())
        port = self.port(port_id)
        row.session_id = port.session_id
        # The picture first: a row must never speak of a picture that isn't there. A picture without a row
        # does no harm.
        row.picture_sha256 = self._store.keep(pixels)
        self._store.make_thumbnail(row.picture_sha256, pixels, reading.fit)
        with self._database.writing() as session:
            last = session.scalar(select(func.max(LookRow.number)).where(LookRow.port_id == port_id))
            row.number = 1 if last is None else last + 1
            session.add(row)
            session.flush()
            self._tell(session, "look", self._clock(), row, session_id=port.session_id)
            look = look_value(row, port)
        return look

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

    # History

    def log_event(self, session_id: int, what: str, who: str, how: str = "") -> Event:
        """Write down for good that something happened in a session: the caution was acknowledged, say.

        Raises
        ------
        LedgerError
            A text can't be used, there is no such session, or the ledger can't be written.
        """
        body = event_body(
            checked_text(what, "event", required=True),
            checked_text(who, "person's name", required=False),
            checked_text(how, "event's note", required=False),
        )
        with self._database.writing() as session:
            self._session_row(session, session_id)
            at = self._clock()
            row = history.append(session, "event", at, body, session_id=session_id, subject_id=None)
            return event_value(row)

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

    def _tell(
        self,
        session: OrmSession,
        kind: str,
        at: datetime,
        row: SessionRow | PortRow | LookRow,
        *,
        session_id: int,
    ) -> None:
        history.append(session, kind, at, history.row_body(row), session_id=session_id, subject_id=row.id)

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
    query = (
        select(LookRow.id)
        .join(PortRow, LookRow.port_id == PortRow.id)
        .where(PortRow.session_id == session_id)
    )
    # With the port's id in between, SQLite walks two indexes in order and sorts nothing.
    ordered = query.order_by(PortRow.position, PortRow.id, LookRow.number)
    return ordered.where(PortRow.session_id == session_id)


def _look_row(
    port_id: int, reading: Reading, verdict: Verdict, source: str, seconds: float, taken: datetime
) -> LookRow:
    if taken.tzinfo is None:
        raise ValueError("the time a look was taken must know its zone")
    leading = leading_feature(reading, verdict)
    return LookRow(
        port_id=port_id,
        taken=taken.astimezone(UTC),
        source=checked_text(source, "frame source's name", required=False),
        seconds=float(seconds),
        outcome=verdict.outcome.value,
        criteria_id=verdict.criteria.id,
        features=len(reading.features),
        leading_cause=None if leading is None else leading[0].cause.value,
        leading_zone=None if leading is None else leading[1],
        largest_defect_um=largest_um(reading, Form.DEFECT),
        widest_scratch_um=largest_um(reading, Form.SCRATCH),
        reading=reading_text(reading),
        verdict=verdict_text(verdict),
    )
