"""The window: arranges the parts, and says to each what the person did."""

import base64
import time
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QByteArray, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent, QShowEvent
from PySide6.QtWidgets import QLabel, QMainWindow, QPushButton, QSplitter

from workstation import bench
from workstation.frames import FeedEvent, FeedEventKind, FrameSource
from workstation.values import Fit, Frame, Look, NoFit, Session
from workstation.window import sources
from workstation.window.actions import DEEDS, make_actions, with_keys
from workstation.window.arrangement import arrange, share_width
from workstation.window.desk import Desk, Shown
from workstation.window.errands import Errands
from workstation.window.knobs import Knobs
from workstation.window.live import Live
from workstation.window.overlay import Overlay, overlay_of
from workstation.window.port_field import PortField
from workstation.window.reading_panel import ReadingPanel
from workstation.window.session_list import SessionModel, SessionTable
from workstation.window.settings import Settings, save_settings
from workstation.window.stage import Stage
from workstation.window.status import StatusLine
from workstation.window.words import next_port_label

CALM_MS = 250
"""How often words about the live picture may change: what moves cannot be read."""
STALE_S = 0.7
"""How long the words about a fibre that was found hold when no newer fit comes."""
PROGRAM = "End-face workstation"


class MainWindow(QMainWindow):
    """The workstation's window.

    Parameters
    ----------
    settings, settings_path
        What is remembered, and where.
    complaints
        Sentences about settings that were no good, shown once.
    """

    def __init__(self, settings: Settings, settings_path: Path, complaints: list[str] | None = None) -> None:
        super().__init__()
        self.settings = settings
        self._settings_path = settings_path
        self.setWindowTitle(PROGRAM)
        self.desk = Desk(self)
        self.live = Live(lambda pixels, previous: bench.live_fit(pixels, previous), self)
        self.stage = Stage(self)
        self.panel = ReadingPanel(self)
        self.knobs = Knobs(self)
        self.model = SessionModel(self.desk.pages, self.desk.thumbnails, self)
        self.table = SessionTable(self.model, self)
        self.status = StatusLine(self)
        self.port = PortField(self)
        self.capture_button = QPushButton("Capture", self)
        self.next_button = QPushButton("Next port", self)
        self.session_words = QLabel("No session", self)
        self._shown: Shown | None = None
        self._live_fit: Fit | NoFit | None = None
        self._live_frame: Frame | None = None
        self._source: FrameSource | None = None
        self._fitted_s = 0.0
        self._shared = False
        self._capture_label = ""
        self.errands = Errands(self)
        self.actions_by_name = make_actions(self, self._act, settings.capture_key)
        self.columns: QSplitter
        arrange(self)
        self._connect()
        self._apply_settings()
        self._calm = QTimer(self)
        self._calm.setInterval(CALM_MS)
        self._calm.timeout.connect(self._refresh_words)
        self._calm.start()
        self.show_no_source()
        for complaint in complaints or []:
            self.status.tell(complaint)

    @property
    def source(self) -> FrameSource | None:
        """Where the live picture comes from now."""
        return self._source

    # -- what the parts tell --------------------------------------------------------------------------------

    def _connect(self) -> None:
        self.live.shown.connect(self._show_live)
        self.live.told.connect(self._hear_source)
        self.live.captured.connect(self._take_capture)
        self.live.faulted.connect(lambda sentence: self.status.tell(sentence, trouble=True))
        self.live.missed.connect(lambda sentence: self._show_trouble("Nothing captured", sentence))
        self.desk.session_changed.connect(self._show_session)
        self.desk.criteria_changed.connect(self._show_criteria)
        self.desk.grading.connect(self._show_grading)
        self.desk.graded.connect(self._show_graded)
        self.desk.look_opened.connect(self._show_reading)
        self.desk.exported.connect(lambda path: self.status.tell(f"Written: {path}"))
        self.desk.trouble.connect(self._show_trouble)
        self.model.trouble.connect(self.status.tell)
        self.table.look_chosen.connect(self._open_look)
        self.panel.feature_picked.connect(lambda number: self.stage.graded.choose_feature(number or None))
        self.stage.graded.feature_picked.connect(self.panel.choose_feature)
        self.knobs.turned.connect(self._turn)
        self.capture_button.clicked.connect(self.capture)
        self.next_button.clicked.connect(self.next_port)
        self.port.returnPressed.connect(self._port_entered)

    def _show_live(self, frame: Frame, found: Fit | NoFit | None) -> None:
        overlay = Overlay(found, self.desk.rings) if isinstance(found, Fit) else None
        self.stage.live.show_sign("")
        self.stage.live.show_picture(frame.pixels, overlay)
        self._live_frame = frame
        if found is not None:
            self._live_fit, self._fitted_s = found, time.monotonic()

    def _hear_source(self, event: FeedEvent) -> None:
        if event.kind is FeedEventKind.CONNECTING:
            self.stage.live.show_sign("Connecting", event.sentence)
        elif event.kind is FeedEventKind.ENDED:
            self.stage.live.show_sign("The source has ended", event.sentence)
        elif event.kind is FeedEventKind.TROUBLE:
            title = sources.TROUBLE_TITLES[event.trouble] if event.trouble is not None else "No picture"
            self.stage.live.show_sign(title, event.sentence)
        else:
            self.status.tell(event.sentence)
        if event.kind in (FeedEventKind.ENDED, FeedEventKind.TROUBLE):
            self._live_fit = None
            self.stage.say_live("")
            self.status.hush()

    def _take_capture(self, frame: Frame) -> None:
        self.stage.graded.show_picture(frame.pixels)
        self.desk.grade_frame(frame, self._capture_label)

    def _show_grading(self, title: str) -> None:
        self.capture_button.setEnabled(False)
        self.status.hush()
        self.panel.show_waiting("Grading …")
        self.stage.name_graded(title)

    def _show_graded(self, shown: Shown) -> None:
        if shown.look is not None:
            self.model.add(shown.look)
            self.table.show_look(shown.look)
        self._show_reading(shown)
        if self.settings.show_graded or shown.look is None:
            self.stage.show_large(live=False)
        self._ready()

    def _show_reading(self, shown: Shown) -> None:
        self._shown = shown
        self.panel.show_reading(shown.title, shown.reading, shown.verdict, shown.seconds)
        self.stage.graded.show_sign("")
        self.stage.graded.choose_feature(None)
        self.stage.graded.show_picture(
            shown.pixels, overlay_of(shown.reading, shown.verdict, self.desk.rings)
        )
        self.stage.name_graded(shown.title)

    def _open_look(self, look: Look) -> None:
        self.stage.show_large(live=False)
        self.desk.open_look(look)

    def _show_trouble(self, what: str, sentence: str) -> None:
        self._ready()
        self.status.tell(f"{what}. {sentence}", trouble=True)
        if self.desk.session is None:
            self.stage.live.show_sign(what, sentence)
        if self.panel.verdict_words == "Grading …" or what.startswith("Nothing captured"):
            self.panel.show_trouble(what, sentence)

    def _show_session(self, session: Session) -> None:
        ledger = self.desk.ledger
        assert ledger is not None
        self.session_words.setText(f"{session.name} · {session.operator or 'no operator'}")
        self.session_words.setToolTip(
            f"Scope: {session.scope or 'not named'}\nCriteria: {session.criteria_id}"
        )
        self.status.show_session(session)
        self.setWindowTitle(f"{session.name} – {PROGRAM}")
        self._shown = None
        self.panel.clear()
        self.stage.graded.show_picture(None)
        self.stage.name_graded("no picture graded yet")
        self.model.open(
            lambda offset, count: ledger.looks(session.id, offset, count), lambda look: ledger.thumbnail(look)
        )
        self._ready()

    def _show_criteria(self) -> None:
        criteria = self.desk.criteria
        if criteria is not None and self._shown is None:
            self.panel.show_criteria(criteria.ref)

    # -- what the person does -------------------------------------------------------------------------------

    def capture(self) -> None:
        """Take the first picture that begins after now, grade it and keep it."""
        if self.live.waiting_for_capture or self.desk.busy_grading:
            return
        if self.desk.session is None:
            self._show_trouble("Nothing captured", "Begin or open a session first (Ctrl+N).")
            return
        feed = self.live.feed
        if feed is not None and feed.trouble is not None:
            self._show_trouble("Nothing captured", feed.trouble.sentence)
            return
        label = self.port.text().strip()
        if not label:
            self.errands.ask_port(next_port_label(""))
            return
        self._capture_label = label
        self.capture_button.setEnabled(False)
        self.live.capture()

    def next_port(self) -> None:
        """Go to the next port and to the live picture."""
        self.port.setText(next_port_label(self.port.text()))
        self.stage.show_large(live=True)
        self.status.hush()

    def show_no_source(self) -> None:
        """Say that there is no picture, and what to do."""
        self.live.leave()
        self._source = None
        self.stage.live.show_picture(None)
        if self.desk.session is None:
            self.stage.live.show_sign(
                "No session yet", "Begin one with Ctrl+N, or open a recorded one with Ctrl+O."
            )
        else:
            self.stage.live.show_sign(
                "No live picture", "Start it with Ctrl+L, or choose where pictures come from with Ctrl+K."
            )
        self.stage.say_live("")
        self.knobs.show_hands((), self._lend)
        self.knobs.show_controls(())
        self._live_fit, self._live_frame = None, None

    def open_source(self, source: FrameSource) -> None:
        """Show the live picture of a source; the caution has been acknowledged by then."""
        self.show_no_source()
        self._source = source
        self.knobs.show_hands(sources.hands(source), self._lend)
        self.knobs.show_controls(sources.own_controls(source))
        self.live.open(source)
        self.stage.show_large(live=True)
        self.stage.live.setFocus()
        self._ready()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Capture with Space and Enter wherever nothing else needs them."""
        if (
            event.key() in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter)
            and not event.isAutoRepeat()
        ):
            self.capture()
        else:
            super().keyPressEvent(event)

    def showEvent(self, event: QShowEvent) -> None:
        """Share the width among the columns when the window is first shown, and its width is known."""
        super().showEvent(event)
        if not self._shared:
            self._shared = True
            share_width(self)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Stop timer, feed, workers and ledger, in this order, and remember the window's place."""
        self._calm.stop()
        self.live.close()
        self.errands.close()
        self.desk.close()
        self.settings.geometry = base64.b64encode(self.saveGeometry().data()).decode("ascii")
        self.save_settings()
        event.accept()

    def save_settings(self) -> None:
        """Write the settings; a failure is said in the status line and loses nothing else."""
        try:
            save_settings(self.settings, self._settings_path)
        except OSError as trouble:
            self.status.tell(f"The settings could not be written to {self._settings_path}: {trouble}")

    def set_capture_key(self, keys: str) -> None:
        """Capture with this key from now on, beside Space and Enter."""
        self.settings.capture_key = keys
        action = self.actions_by_name["capture"]
        action.setShortcut(keys)
        tip = next(deed.tip for deed in DEEDS if deed.name == "capture")
        action.setToolTip(with_keys(tip, keys))
        self.capture_button.setToolTip(with_keys(tip, f"Space, Enter, {keys}"))

    def _act(self, name: str) -> None:
        views: dict[str, Callable[[], object]] = {
            "capture": self.capture,
            "next_port": self.next_port,
            "edit_port": self._edit_port,
            "swap": self.stage.swap,
            "list": self._switch_list,
            "rings": self._switch_drawing,
            "features": self._switch_drawing,
            "smooth": self._switch_drawing,
            "zoom_in": lambda: self.stage.large_view.zoom_in(),
            "zoom_out": lambda: self.stage.large_view.zoom_out(),
            "whole": lambda: self.stage.large_view.fit_to_window(),
            "one_to_one": lambda: self.stage.large_view.one_to_one(),
            "previous_look": lambda: self._step_look(-1),
            "next_look": lambda: self._step_look(1),
            "quit": self.close,
        }
        if name in views:
            views[name]()
        else:
            self.errands.run(name)

    def _turn(self, key: str, value: float | None, auto: bool | None) -> None:
        if self._source is None or self.live.feed is None:
            return
        if value is not None and sources.own_controls(self._source):
            self.errands.turn_own(self._source, key, value)
        else:
            self.live.feed.adjust(key, value, auto)

    def _lend(self, hand: sources.Hand) -> None:
        self.errands.lend_hand(hand.deed)

    def _edit_port(self) -> None:
        self.port.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.port.selectAll()

    def _port_entered(self) -> None:
        self.stage.large_view.setFocus()

    def _step_look(self, step: int) -> None:
        current = self.table.currentIndex().row()
        row = current + step if current >= 0 else 0
        if 0 <= row < self.model.rowCount():
            self.table.selectRow(row)

    def _switch_list(self) -> None:
        list_column = self.table.parentWidget()
        assert list_column is not None
        list_column.setVisible(self.actions_by_name["list"].isChecked())

    def _switch_drawing(self) -> None:
        for name in ("rings", "features", "smooth"):
            setattr(
                self.settings,
                {"smooth": "smooth"}.get(name, f"{name}_shown"),
                self.actions_by_name[name].isChecked(),
            )
        self._apply_drawing()

    # -- how it looks ---------------------------------------------------------------------------------------

    def _ready(self) -> None:
        self.capture_button.setEnabled(self.desk.session is not None and self.live.feed is not None)

    def _refresh_words(self) -> None:
        feed = self.live.feed
        # that there is no fibre holds until a later search of the whole picture says otherwise
        if isinstance(self._live_fit, Fit) and time.monotonic() - self._fitted_s > STALE_S:
            self._live_fit = None
        if feed is not None:
            if feed.controls:
                self.knobs.show_controls(feed.controls)
            if feed.trouble is None and self._live_frame is not None:
                lacking = isinstance(self._live_fit, NoFit)
                self.stage.say_live(sources.live_words(self._live_fit), lacking=lacking)
        self.status.show_live(feed, self._live_frame, self._live_fit, self.live.frames_per_second)

    def _apply_drawing(self) -> None:
        for view in (self.stage.live, self.stage.graded):
            view.rings_shown = self.settings.rings_shown
            view.features_shown = self.settings.features_shown
            view.smooth = self.settings.smooth
            view.update()

    def _apply_settings(self) -> None:
        self.actions_by_name["list"].setChecked(True)
        self.actions_by_name["rings"].setChecked(self.settings.rings_shown)
        self.actions_by_name["features"].setChecked(self.settings.features_shown)
        self.actions_by_name["smooth"].setChecked(self.settings.smooth)
        self._apply_drawing()
        self.set_capture_key(self.settings.capture_key)
        placed = self.settings.geometry and self.restoreGeometry(
            QByteArray.fromBase64(QByteArray(self.settings.geometry.encode("ascii", "replace")))
        )
        if not placed:
            room = self.screen().availableGeometry()
            self.resize(min(1560, room.width() - 20), min(960, room.height() - 40))
