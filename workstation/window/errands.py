"""The window's errands: dialogs and the order in which they follow one another. None of them blocks.

First start: session, then the caution about lit fibre, then the live picture.
"""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs
from PySide6.QtCore import QObject, Qt
from PySide6.QtWidgets import QDialog, QFileDialog
from shiboken6 import isValid

from workstation import __version__
from workstation.criteria import DEFAULT_ID, available
from workstation.frames import PICTURE_ENDINGS, FrameSource, SourceTrouble
from workstation.values import CriteriaRef, Session
from workstation.window import sources
from workstation.window.actions import key_list
from workstation.window.choosers import RecordedDialog, SettingsDialog, SourceDialog
from workstation.window.dialogs import (
    CAUTION,
    CautionDialog,
    KeyTable,
    PortDialog,
    SessionDialog,
    WordsDialog,
)
from workstation.window.jobs import Jobs
from workstation.window.settings import FOLDER_NAME

if TYPE_CHECKING:
    from workstation.window.main_window import MainWindow

WORTH = (
    "A verdict says whether what this picture shows keeps to the limits of the chosen table. It says nothing "
    "about what the picture does not show: each picture states the smallest defect and the narrowest scratch "
    "that it could have shown.",
    "The tables repeat published standards. The published standard rules, above all where a limit is marked "
    "as not checked against it.",
    "A visual inspection does not replace loss and return loss measurements.",
    "The cause of a feature is a guess with a confidence. No verdict rests on it.",
    "Sizes carry their standard error. A size too close to a limit makes the verdict borderline, and a "
    "person decides. A picture that cannot be judged is unreadable, and never a pass.",
)


def default_ledger() -> Path:
    """Return where sessions are kept on this machine unless a person says otherwise."""
    return platformdirs.user_data_path(FOLDER_NAME) / "ledger"


class Errands(QObject):
    """Runs the dialogs for the window."""

    def __init__(self, window: "MainWindow") -> None:
        super().__init__(window)
        self._window = window
        self._jobs = Jobs("errands", 1, self)
        self._hands = Jobs("hands", 1, self)
        self._turns: dict[str, float] = {}
        self._criteria: tuple[CriteriaRef, ...] = ()
        self._pending_session = ""

    def close(self) -> None:
        """Wait for what is under way."""
        self._jobs.close()
        self._hands.close()

    def run(self, name: str) -> None:
        """Do what a menu entry of this name says."""
        deeds: dict[str, Callable[[], object]] = {
            "new_session": self.ask_session,
            "open_session": self._window.desk.list_sessions,
            "grade_file": self._ask_picture,
            "export_csv": self._ask_csv,
            "settings": self._ask_settings,
            "choose_source": self.ask_source,
            "start_live": self.start_live,
            "stop_live": self._window.show_no_source,
            "worth": lambda: self._show(WordsDialog("What the verdict is worth", WORTH, self._window)),
            "caution": lambda: self._show(WordsDialog("Lit fibre", CAUTION, self._window)),
            "keys": lambda: self._show(KeyTable(key_list(self._window.settings.capture_key), self._window)),
            "about": lambda: self._show(WordsDialog("About this program", (_ABOUT,), self._window)),
        }
        deeds[name]()

    # -- start and session ----------------------------------------------------------------------------------

    def begin(self, session_name: str = "") -> None:
        """Open the ledger, then the named session, or ask for a new one."""
        window = self._window
        self._pending_session = session_name
        window.desk.ledger_opened.connect(self._ledger_is_open)
        window.desk.session_changed.connect(self._remember_session)
        window.desk.sessions_listed.connect(self._sessions_came)
        folder = window.settings.ledger_folder
        window.desk.open_ledger(Path(folder) if folder else default_ledger())

    def ask_session(self) -> None:
        """Ask who sits at the bench; the caution and the live picture follow."""
        self._jobs.start(available, self._ask_session, self._fault)

    def ask_port(self, proposal: str) -> None:
        """Ask for the port, then capture."""
        dialog = PortDialog(proposal, self._window)
        dialog.named.connect(self._named)
        self._show(dialog)

    def start_live(self) -> None:
        """Show the live picture of the remembered source, after the caution."""
        window = self._window
        if window.desk.session is None:
            self.ask_session()
        elif window.desk.acknowledged:
            self._make_source()
        else:
            dialog = CautionDialog(window.desk.session.operator, window.settings.dark_check, window)
            dialog.acknowledged.connect(self._acknowledged)
            self._show(dialog)

    def _ledger_is_open(self) -> None:
        if self._pending_session:
            self._window.desk.list_sessions()
        else:
            self.ask_session()

    def _ask_session(self, criteria: tuple[CriteriaRef, ...]) -> None:
        settings = self._window.settings
        pending, self._pending_session = self._pending_session, ""
        dialog = SessionDialog(
            session_name=pending or settings.session_name or "Session 1",
            operator=settings.operator,
            scope=settings.scope,
            criteria=criteria,
            criteria_id=settings.criteria_id or DEFAULT_ID,
            parent=self._window,
        )
        dialog.begun.connect(lambda: self._session_named(dialog))
        dialog.recorded_wanted.connect(self._window.desk.list_sessions)
        self._show(dialog)

    def _session_named(self, dialog: SessionDialog) -> None:
        settings = self._window.settings
        settings.session_name, settings.operator = dialog.session_name, dialog.operator
        settings.scope, settings.criteria_id = dialog.scope, dialog.criteria_id
        caution = CautionDialog(dialog.operator, settings.dark_check, self._window)
        caution.acknowledged.connect(self._begin_lit)
        caution.rejected.connect(lambda: self._begin(""))
        self._show(caution)

    def _begin_lit(self, how: str) -> None:
        self._window.settings.dark_check = how
        self._begin(how)

    def _begin(self, how: str) -> None:
        settings = self._window.settings
        self._window.desk.begin_session(
            settings.session_name, settings.operator, settings.scope, settings.criteria_id, how
        )

    def _acknowledged(self, how: str) -> None:
        self._window.settings.dark_check = how
        self._window.desk.acknowledge(how, self._make_source)

    def _remember_session(self, session: Session) -> None:
        self._pending_session = ""
        self._window.settings.session_name = session.name
        self._window.save_settings()
        if self._window.desk.acknowledged:
            self._make_source()
        else:
            self._window.show_no_source()

    def _sessions_came(self, sessions: tuple[Session, ...]) -> None:
        wanted = self._pending_session
        if not wanted:
            self._show_recorded(sessions)
            return
        found = next((session for session in sessions if session.name == wanted), None)
        if found is None:
            self.ask_session()
        else:
            self._reopen(found)

    def _show_recorded(self, recorded: tuple[Session, ...]) -> None:
        dialog = RecordedDialog(recorded, self._window)
        dialog.chosen.connect(self._reopen)
        self._show(dialog)

    def _reopen(self, session: Session) -> None:
        self._window.desk.reopen_session(session, self._window.settings.criteria_id)

    def _named(self, label: str) -> None:
        self._window.port.setText(label)
        self._window.capture()

    # -- sources --------------------------------------------------------------------------------------------

    def ask_source(self) -> None:
        """Ask where pictures come from."""
        settings = self._window.settings
        dialog = SourceDialog(settings.source, settings.source_mode, self._window)
        dialog.chosen.connect(self._source_chosen)
        dialog.asked_again.connect(lambda: self._look_for_cameras(dialog))
        self._show(dialog)
        self._look_for_cameras(dialog)

    def lend_hand(self, deed: Callable[[], object]) -> None:
        """Let a hand of the source do its deed, out of the window's way."""
        self._hands.start(deed, _nothing, self._fault)

    def turn_own(self, source: FrameSource, key: str, value: float) -> None:
        """Turn a knob of the simulated microscope; of several turns only the last one counts."""
        self._turns[key] = value

        def turn() -> None:
            wanted = self._turns.pop(key, None)
            if wanted is not None:
                sources.turn_own(source, key, wanted)

        self._hands.start(turn, _nothing, self._fault)

    def _look_for_cameras(self, dialog: SourceDialog) -> None:
        def done(cameras: tuple[sources.CameraInfo, ...]) -> None:
            if isValid(dialog):  # the person may have closed it meanwhile
                dialog.show_cameras(cameras)

        self._jobs.start(sources.list_cameras, done, self._fault)

    def _source_chosen(self, spec: str, mode_label: str) -> None:
        settings = self._window.settings
        settings.source, settings.source_mode = spec, mode_label
        self._window.save_settings()
        self.start_live()

    def _make_source(self) -> None:
        spec = self._window.settings.source or sources.SIMULATOR
        self._window.settings.source = spec
        mode = self._window.settings.source_mode
        self._jobs.start(lambda: sources.make_source(spec, mode), self._source_made, self._source_missing)

    def _source_made(self, source: FrameSource) -> None:
        self._window.open_source(source)

    def _source_missing(self, trouble: BaseException) -> None:
        if not isinstance(trouble, SourceTrouble):
            raise trouble
        self._window.show_no_source()
        self._window.stage.live.show_sign(sources.TROUBLE_TITLES[trouble.kind], trouble.sentence)

    # -- files ----------------------------------------------------------------------------------------------

    def _ask_picture(self) -> None:
        endings = " ".join(f"*{ending}" for ending in sorted(PICTURE_ENDINGS))
        dialog = QFileDialog(self._window, "Grade a picture file", "", f"Pictures ({endings})")
        dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
        dialog.fileSelected.connect(lambda path: self._window.desk.grade_file(Path(path)))
        self._show(dialog)

    def _ask_csv(self) -> None:
        dialog = QFileDialog(self._window, "Export as CSV", "", "Comma-separated values (*.csv)")
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setDefaultSuffix("csv")
        dialog.fileSelected.connect(lambda path: self._window.desk.export_csv(Path(path)))
        self._show(dialog)

    def _ask_settings(self) -> None:
        settings = self._window.settings
        folder = settings.ledger_folder or str(default_ledger())
        dialog = SettingsDialog(settings, folder, self._window)
        dialog.changed.connect(lambda: self._change_settings(dialog, folder))
        self._show(dialog)

    def _change_settings(self, dialog: SettingsDialog, folder: str) -> None:
        settings = self._window.settings
        settings.show_graded = dialog.show_graded
        if dialog.ledger_folder != folder:
            settings.ledger_folder = dialog.ledger_folder
        self._window.set_capture_key(dialog.capture_key or "F5")
        self._window.save_settings()

    def _show(self, dialog: QDialog) -> None:
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.finished.connect(
            self._window.activateWindow
        )  # else no key is heard where no one manages windows
        dialog.open()

    def _fault(self, trouble: BaseException) -> None:
        self._window.status.tell(str(trouble), trouble=True)


_ABOUT = (
    f"End-face workstation {__version__}: inspects, measures and grades the polished end faces of "
    "fibre-optic connectors, and keeps a record of each look."
)


def _nothing(_result: object) -> None:
    """Nothing follows."""
