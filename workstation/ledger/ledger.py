"""The one door to sessions, ports, looks and their pictures.

Plain values go in and come out. A look counts as kept only when `Ledger.keep_look` has returned: its picture
and its row are on disk by then. Every method may be called from any thread (``database.py`` says how).
"""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select
from sqlalchemy.orm import Session as OrmSession

from workstation.ledger import history
from workstation.ledger.database import Database
from workstation.ledger.errors import LedgerError, file_error
from workstation.ledger.events import Event, event_body, event_value
from workstation.ledger.guard import WriterGuard
from workstation.ledger.labels import checked_text, comparable
from workstation.ledger.lookup import Lookup
from workstation.ledger.models import LookRow, PortRow, SessionRow
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


def _now() -> datetime:
    return datetime.now(UTC)


class Ledger(Lookup):
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
        super().__init__(folder, database, store)
        self.notices: tuple[str, ...] = ()
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
