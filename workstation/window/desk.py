"""What the window works on: the ledger, the session, the criteria, and the jobs on them.

Everything that reads or writes a disk, or measures a picture, runs in a worker; what comes of it is signalled
on the window's thread. The window holds no state of this kind besides.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, Signal

from workstation import bench, reports
from workstation.criteria import DEFAULT_ID, Criteria, CriteriaError, load_criteria
from workstation.frames import PictureError, read_picture
from workstation.ledger import Ledger, LedgerError
from workstation.values import Frame, Look, Port, Reading, Session, Verdict
from workstation.window.jobs import Jobs
from workstation.window.overlay import Ring
from workstation.window.words import look_title

T = TypeVar("T")

CAUTION_EVENT = "caution about lit fibre acknowledged"


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """A graded picture as the window shows it; ``look`` is None for a file that was graded and not kept."""

    title: str
    pixels: NDArray[np.uint8]
    reading: Reading
    verdict: Verdict
    seconds: float
    look: Look | None = None


class Desk(QObject):
    """Ledger, session and criteria, with the jobs on them.

    Signals: ``ledger_opened``; ``sessions_listed`` (tuple of Session); ``session_changed`` (Session);
    ``criteria_changed``; ``grading`` (title); ``graded`` (Shown, of a capture or a file); ``look_opened``
    (Shown); ``exported`` (path); ``trouble`` (what could not be done, and a sentence that says why and what
    to do).
    """

    ledger_opened = Signal()
    sessions_listed = Signal(object)
    session_changed = Signal(object)
    criteria_changed = Signal()
    grading = Signal(str)
    graded = Signal(object)
    look_opened = Signal(object)
    exported = Signal(str)
    trouble = Signal(str, str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._work = Jobs("desk", 1, self)
        self._reads = Jobs("desk-reads", 1, self)
        self.pages = Jobs("pages", 1, self)
        self.thumbnails = Jobs("thumbnails", 1, self)
        self._ledger: Ledger | None = None
        self._session: Session | None = None
        self._criteria: Criteria | None = None
        self._acknowledged: set[int] = set()
        self._wanted_look = 0
        self._grading = False

    @property
    def ledger(self) -> Ledger | None:
        """The open ledger."""
        return self._ledger

    @property
    def session(self) -> Session | None:
        """The session that captures go to."""
        return self._session

    @property
    def criteria(self) -> Criteria | None:
        """What faces are judged by."""
        return self._criteria

    @property
    def rings(self) -> tuple[Ring, ...]:
        """The zones' edges of the criteria."""
        if self._criteria is None:
            return ()
        return tuple(Ring(zone.letter, zone.outer_um) for zone in self._criteria.zones)

    @property
    def busy_grading(self) -> bool:
        """Whether a picture is being graded and kept."""
        return self._grading

    @property
    def acknowledged(self) -> bool:
        """Whether the caution was acknowledged in this session since the window was opened."""
        return self._session is not None and self._session.id in self._acknowledged

    def open_ledger(self, folder: Path) -> None:
        """Open the ledger in a folder."""

        def done(ledger: Ledger) -> None:
            self._ledger = ledger
            self.ledger_opened.emit()
            for notice in ledger.notices:
                self.trouble.emit("A word about the ledger", notice)

        self._do("open the ledger", lambda: Ledger.open(folder), done)

    def list_sessions(self) -> None:
        """Ask for the recorded sessions, newest first; ``sessions_listed`` follows."""
        ledger = self._ledger
        if ledger is not None:
            self._do("list the sessions", lambda: ledger.sessions(0, 1000), self.sessions_listed.emit)

    def use_criteria(self, criteria_id: str) -> None:
        """Judge by these criteria from now on."""
        self._do("read the criteria", lambda: load_criteria(criteria_id or DEFAULT_ID), self._take_criteria)

    def begin_session(self, name: str, operator: str, scope: str, criteria_id: str, source_dark: str) -> None:
        """Begin a session; words in ``source_dark`` acknowledge the caution and are logged as such."""
        ledger = self._ledger
        if ledger is None:
            self.trouble.emit(
                "No session was begun", "The ledger is not open. Choose a folder for it (File menu)."
            )
            return

        def work() -> tuple[Session, Criteria]:
            criteria = load_criteria(criteria_id or DEFAULT_ID)
            session = ledger.start_session(name, operator, scope, criteria.id, source_dark)
            if source_dark:
                ledger.log_event(session.id, CAUTION_EVENT, operator, source_dark)
            return session, criteria

        def done(begun: tuple[Session, Criteria]) -> None:
            if source_dark:
                self._acknowledged.add(begun[0].id)
            self._take_session(*begun)

        self._do("begin the session", work, done)

    def reopen_session(self, session: Session, own_criteria: str = "") -> None:
        """Open a recorded session, and judge by its criteria.

        Parameters
        ----------
        session
            The session.
        own_criteria
            A criteria file of the person's own, used where the session was begun with it.
        """

        def done(found: Criteria | str) -> None:
            self._criteria = None
            self._take_session(session, found if isinstance(found, Criteria) else None)
            if isinstance(found, str):
                self.trouble.emit("This session can be read, but nothing can be captured", found)

        self._do("open the session", lambda: _criteria_of(session, own_criteria), done)

    def acknowledge(self, how: str, done: Callable[[], None]) -> None:
        """Log that the caution was acknowledged in the open session, then call ``done``."""
        ledger, session = self._ledger, self._session
        if ledger is None or session is None:
            return

        def logged(_event: object) -> None:
            self._acknowledged.add(session.id)
            done()

        self._do(
            "log the caution",
            lambda: ledger.log_event(session.id, CAUTION_EVENT, session.operator, how),
            logged,
        )

    def grade_frame(self, frame: Frame, label: str) -> None:
        """Grade a captured frame and keep it as a look of a port; ``graded`` follows."""
        ledger, session, criteria = self._ledger, self._session, self._criteria
        if ledger is None or session is None or criteria is None:
            self.trouble.emit(
                "Nothing was captured",
                "Begin a session, or open one whose criteria can be read (Ctrl+N, Ctrl+O).",
            )
            return

        def work() -> Shown:
            graded = bench.grade(frame.pixels, criteria)
            look = ledger.keep_look(
                _port(ledger, session, label).id,
                frame.pixels,
                graded.reading,
                graded.verdict,
                frame.source,
                graded.seconds,
            )
            return _shown(look, frame.pixels)

        self._grade(label, work)

    def grade_file(self, path: Path) -> None:
        """Grade a picture file without keeping it; ``graded`` follows."""
        criteria = self._criteria

        def work() -> Shown:
            rules = criteria or load_criteria(DEFAULT_ID)
            pixels = read_picture(path)
            graded = bench.grade(pixels, rules)
            return Shown(
                f"{path.name} (a file, not kept)", pixels, graded.reading, graded.verdict, graded.seconds
            )

        self._grade(path.name, work)

    def open_look(self, look: Look) -> None:
        """Read a look's picture; ``look_opened`` follows unless another look is asked for first."""
        ledger = self._ledger
        if ledger is None:
            return
        self._wanted_look = look.id

        def done(shown: Shown) -> None:
            if self._wanted_look == look.id:
                self.look_opened.emit(shown)

        self._start(self._reads, f"open {look_title(look)}", lambda: _shown(look, ledger.picture(look)), done)

    def export_csv(self, path: Path) -> None:
        """Write the session's looks as a table; ``exported`` follows."""
        ledger, session = self._ledger, self._session
        if ledger is None or session is None:
            self.trouble.emit("Nothing was exported", "Begin or open a session first (Ctrl+N).")
            return
        self._do(
            "write the table",
            lambda: reports.export_csv(ledger, session.id, path),
            lambda _written: self.exported.emit(str(path)),
        )

    def close(self) -> None:
        """Wait for what is under way, then close the ledger."""
        for jobs in (self.thumbnails, self.pages, self._reads, self._work):
            jobs.close()
        ledger, self._ledger = self._ledger, None
        if ledger is not None:
            ledger.close()

    def _take_session(self, session: Session, criteria: Criteria | None) -> None:
        self._session = session
        if criteria is not None:
            self._take_criteria(criteria)
        self.session_changed.emit(session)

    def _take_criteria(self, criteria: Criteria) -> None:
        self._criteria = criteria
        self.criteria_changed.emit()

    def _grade(self, title: str, work: Callable[[], Shown]) -> None:
        if self._grading:
            return
        self._grading = True
        self._wanted_look = 0
        self.grading.emit(title)

        def done(shown: Shown) -> None:
            self._grading = False
            self.graded.emit(shown)

        def failed() -> None:
            self._grading = False

        self._start(self._work, f"grade {title}", work, done, failed)

    def _do(self, what: str, work: Callable[[], T], done: Callable[[T], None]) -> None:
        self._start(self._work, what, work, done)

    def _start(
        self,
        jobs: Jobs,
        what: str,
        work: Callable[[], T],
        done: Callable[[T], None],
        failed: Callable[[], None] | None = None,
    ) -> None:
        def fault(trouble: BaseException) -> None:
            if failed is not None:
                failed()
            if not isinstance(trouble, (LedgerError, CriteriaError, PictureError, OSError, ValueError)):
                self.trouble.emit(
                    f"Could not {what}",
                    f"The program made a mistake ({type(trouble).__name__}: {trouble}). What was kept "
                    "before is safe; do it again, and report this if it comes back.",
                )
                raise trouble
            self.trouble.emit(f"Could not {what}", str(trouble))

        jobs.start(work, done, fault)


def _criteria_of(session: Session, own_criteria: str) -> Criteria | str:
    """Return a session's criteria, or a sentence that says why there are none."""
    try:
        return load_criteria(session.criteria_id or DEFAULT_ID)
    except CriteriaError as trouble:
        sentence = str(trouble)
    if own_criteria:
        try:
            own = load_criteria(own_criteria)
        except CriteriaError as trouble:
            return str(trouble)
        if own.id == session.criteria_id:
            return own
    return f"Its criteria are a file of your own, and not at hand. {sentence}"


def _port(ledger: Ledger, session: Session, label: str) -> Port:
    return ledger.find_port(session.id, label) or ledger.add_port(session.id, label)


def _shown(look: Look, pixels: NDArray[np.uint8]) -> Shown:
    return Shown(look_title(look), pixels, look.reading, look.verdict, look.seconds, look)
