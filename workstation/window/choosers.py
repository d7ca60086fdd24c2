"""The dialogs that choose: the source of pictures, a recorded session, and what is remembered."""

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QDialog,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QKeySequenceEdit,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from workstation.values import Session
from workstation.window.dialogs import heading, text_line, words_label
from workstation.window.settings import Settings
from workstation.window.sources import SIMULATOR, CameraInfo
from workstation.window.words import local_time

_SPEC = Qt.ItemDataRole.UserRole
_CAMERA = Qt.ItemDataRole.UserRole + 1


class SourceDialog(QDialog):
    """Chooses where pictures come from; signals ``chosen`` (words for the source, label of a camera's mode).

    ``asked_again`` asks for the list of cameras to be made anew; hand the new one to ``show_cameras``.
    """

    chosen = Signal(str, str)
    asked_again = Signal()

    def __init__(self, current: str, mode_label: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Where pictures come from")
        self._current, self._mode_label = current, mode_label
        self._list = QListWidget(self)
        self._list.setAccessibleName("Sources")
        self._list.setToolTip("Choose with the arrow keys, use with Enter")
        self._mode = QComboBox(self)
        self._mode.setAccessibleName("Size and rate")
        self._mode.setToolTip("Size, rate and format that the camera is asked for")
        self._place = text_line(
            "Path or address", "", "The path of a film or a folder, or the address of a stream"
        )
        self._browse_film = self._button("Film …", "Choose a film file", self._ask_film)
        self._browse_folder = self._button("Folder …", "Choose a folder of pictures", self._ask_folder)
        again = self._button("Look again", "List the cameras anew (F5)", self.asked_again.emit)
        again.setShortcut("F5")
        cancel = self._button("Cancel", "Leave it as it is (Esc)", self.reject)
        self._use = self._button("Use this source", "Use it (Enter)", self._choose)
        self._use.setDefault(True)
        self._about = words_label("", "quiet")
        form = QFormLayout()
        form.setSpacing(10)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        place_row = QHBoxLayout()
        for part in (self._place, self._browse_film, self._browse_folder):
            place_row.addWidget(part)
        form.addRow("&Size and rate", self._mode)
        place_label = QLabel("&Path or address")
        place_label.setBuddy(self._place)
        form.addRow(place_label, place_row)
        buttons = QHBoxLayout()
        buttons.addWidget(again)
        buttons.addStretch(1)
        buttons.addWidget(cancel)
        buttons.addWidget(self._use)
        column = QVBoxLayout(self)
        column.setContentsMargins(22, 20, 22, 18)
        column.setSpacing(12)
        column.addWidget(heading("Where pictures come from"))
        column.addWidget(self._list, 1)
        column.addWidget(self._about)
        column.addLayout(form)
        column.addLayout(buttons)
        self.resize(700, 520)
        self._list.currentItemChanged.connect(self._weigh)
        self._list.itemActivated.connect(lambda _item: self._choose())
        self._place.textChanged.connect(self._weigh)
        self.show_cameras(None)
        self._list.setFocus()

    @property
    def names(self) -> tuple[str, ...]:
        """The sources' names as listed."""
        return tuple(self._list.item(row).text().split("\n")[0] for row in range(self._list.count()))

    def modes_of(self, name: str) -> tuple[str, ...]:
        """Return the labels of a camera's sizes and rates."""
        camera = self._list.item(self.names.index(name)).data(_CAMERA)
        return tuple(mode.label for mode in camera.modes) if isinstance(camera, CameraInfo) else ()

    def choose(self, name: str, mode_label: str = "") -> None:
        """Use the source of this name, with this size and rate if it has it."""
        self._list.setCurrentRow(self.names.index(name))
        self._mode.setCurrentIndex(max(0, self._mode.findData(mode_label)))
        self._choose()

    def show_cameras(self, cameras: Sequence[CameraInfo] | None) -> None:
        """List these cameras; None says that they are being looked for."""
        self._list.clear()
        self._add(
            "Simulated microscope",
            SIMULATOR,
            None,
            "Practise without hardware: connectors come dirty, damaged and clean",
        )
        for camera in cameras or ():
            self._add(camera.name, camera.id, camera, camera.trouble or str(camera.address))
        self._add("A film, a folder of pictures, or a stream", "", None, "Give its path or address below")
        if cameras is None:
            self._about.setText("Looking for cameras …")
        chosen = next(
            (row for row in range(self._list.count()) if self._list.item(row).data(_SPEC) == self._current),
            self._list.count() - 1 if self._current else 0,
        )
        if self._current and chosen == self._list.count() - 1:
            self._place.setText(self._current)
        self._list.setCurrentRow(chosen)
        if cameras is not None:
            found = len(cameras)
            self._about.setText(
                f"{found} camera{'s' if found != 1 else ''} found."
                if found
                else "No camera was found. Plug one in and look again (F5)."
            )

    def _add(self, name: str, spec: str, camera: CameraInfo | None, about: str) -> None:
        item = QListWidgetItem(f"{name}\n{about}" if about else name)
        item.setData(_SPEC, spec)
        item.setData(_CAMERA, camera)
        self._list.addItem(item)

    def _weigh(self) -> None:
        item = self._list.currentItem()
        if item is None:
            return
        camera = item.data(_CAMERA)
        modes = camera.modes if isinstance(camera, CameraInfo) else ()
        self._mode.clear()
        if modes:
            self._mode.addItem("as suits best", "")
            for mode in modes:
                self._mode.addItem(mode.label, mode.label)
            self._mode.setCurrentIndex(max(0, self._mode.findData(self._mode_label)))
        self._mode.setEnabled(bool(modes))
        own_place = item.data(_SPEC) == ""
        for part in (self._place, self._browse_film, self._browse_folder):
            part.setEnabled(own_place)
        self._use.setEnabled(not own_place or bool(self._place.text().strip()))

    def _choose(self) -> None:
        item = self._list.currentItem()
        if item is None or not self._use.isEnabled():
            return
        spec = item.data(_SPEC) or self._place.text().strip()
        self.accept()
        self.chosen.emit(spec, self._mode.currentData() or "")

    def _ask_film(self) -> None:
        self._ask(QFileDialog.FileMode.ExistingFile, "Choose a film")

    def _ask_folder(self) -> None:
        self._ask(QFileDialog.FileMode.Directory, "Choose a folder of pictures")

    def _ask(self, mode: QFileDialog.FileMode, title: str) -> None:
        dialog = QFileDialog(self, title)
        dialog.setFileMode(mode)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self._place.setText)
        dialog.open()

    def _button(self, words: str, tip: str, act: Callable[[], object]) -> QPushButton:
        button = QPushButton(words, self)
        button.setToolTip(tip)
        button.setAccessibleName(words.removesuffix(" …"))
        button.setAutoDefault(False)
        button.clicked.connect(lambda _checked=False: act())
        return button


class RecordedDialog(QDialog):
    """Chooses a recorded session; signals ``chosen`` (Session)."""

    chosen = Signal(object)

    def __init__(self, sessions: Sequence[Session], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Recorded sessions")
        self._list = QListWidget(self)
        self._list.setAccessibleName("Recorded sessions, newest first")
        self._list.setToolTip("Choose with the arrow keys, open with Enter")
        self._list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        for session in sessions:
            when = local_time(session.started, "%Y-%m-%d %H:%M")
            about = (when, session.operator or "no operator", session.scope or "no scope named")
            item = QListWidgetItem(f"{session.name}\n{' · '.join(about)}")
            item.setData(_SPEC, session)
            self._list.addItem(item)
        open_button = QPushButton("Open", self)
        open_button.setDefault(True)
        open_button.setEnabled(bool(sessions))
        open_button.setToolTip("Open (Enter)")
        cancel = QPushButton("Cancel", self)
        cancel.setToolTip("Leave it as it is (Esc)")
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(cancel)
        buttons.addWidget(open_button)
        column = QVBoxLayout(self)
        column.setContentsMargins(22, 20, 22, 18)
        column.setSpacing(12)
        column.addWidget(heading("Recorded sessions"))
        if not sessions:
            column.addWidget(words_label("There is no session in this ledger yet. Begin one with Ctrl+N."))
        column.addWidget(self._list, 1)
        column.addLayout(buttons)
        self.resize(620, 480)
        self._list.setCurrentRow(0)
        self._list.setFocus()
        self._list.itemActivated.connect(lambda _item: self._choose())
        open_button.clicked.connect(self._choose)
        cancel.clicked.connect(self.reject)

    @property
    def names(self) -> tuple[str, ...]:
        """The sessions' names as listed."""
        return tuple(self._list.item(row).data(_SPEC).name for row in range(self._list.count()))

    def open_row(self, row: int) -> None:
        """Open the session of a row."""
        self._list.setCurrentRow(row)
        self._choose()

    def _choose(self) -> None:
        item = self._list.currentItem()
        if item is not None:
            session = item.data(_SPEC)
            self.accept()
            self.chosen.emit(session)


class SettingsDialog(QDialog):
    """Changes what is remembered; signals ``changed`` when the person accepts."""

    changed = Signal()

    def __init__(self, settings: Settings, ledger_folder: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Settings")
        self._key = QKeySequenceEdit(QKeySequence(settings.capture_key), self)
        self._key.setMaximumSequenceLength(1)
        self._key.setAccessibleName("Capture key")
        self._key.setToolTip("Press the key, or the foot switch that types it")
        self._show_graded = QCheckBox("Show the graded picture large after a capture", self)
        self._show_graded.setChecked(settings.show_graded)
        self._show_graded.setToolTip("Otherwise the live picture stays large and the graded one comes small")
        self._ledger: QLineEdit = text_line(
            "Ledger folder", ledger_folder, "Where sessions are kept; used from the next start"
        )
        save = QPushButton("Save", self)
        save.setDefault(True)
        save.setToolTip("Save (Enter)")
        cancel = QPushButton("Cancel", self)
        cancel.setToolTip("Leave it as it is (Esc)")
        form = QFormLayout()
        form.setSpacing(12)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow("Capture &key", self._key)
        form.addRow(
            "", words_label("Besides Space and Enter, which always capture from the picture.", "quiet")
        )
        form.addRow("", self._show_graded)
        form.addRow("&Ledger folder", self._ledger)
        form.addRow("", words_label("A change of the folder holds from the next start.", "quiet"))
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(cancel)
        buttons.addWidget(save)
        column = QVBoxLayout(self)
        column.setContentsMargins(22, 20, 22, 18)
        column.setSpacing(14)
        column.addWidget(heading("Settings"))
        column.addLayout(form)
        column.addLayout(buttons)
        self.setMinimumWidth(640)
        save.setFocus()  # the key's field would take Escape for a key
        cancel.clicked.connect(self.reject)
        save.clicked.connect(self._save)

    @property
    def capture_key(self) -> str:
        """The person's own key for capturing, as Qt writes it."""
        return self._key.keySequence().toString(QKeySequence.SequenceFormat.PortableText)

    @property
    def show_graded(self) -> bool:
        """Whether the graded picture takes the large place after a capture."""
        return self._show_graded.isChecked()

    @property
    def ledger_folder(self) -> str:
        """Where sessions are kept."""
        return self._ledger.text().strip()

    def fill(self, *, capture_key: str, show_graded: bool) -> None:
        """Fill in the fields."""
        self._key.setKeySequence(QKeySequence(capture_key))
        self._show_graded.setChecked(show_graded)

    def save(self) -> None:
        """Accept."""
        self._save()

    def _save(self) -> None:
        self.accept()
        self.changed.emit()
