"""The dialogs before the first picture: the session and its choices, and the caution about lit fibre."""

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QFileDialog,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from workstation.values import CriteriaRef
from workstation.window.words import UNVERIFIED_NOTE, WORTH_OF_THE_VERDICT

CAUTION = (
    "Never look into a fibre or a connector, and never at a lit one through a microscope that you look into "
    "directly. That includes the light of visual fault locators.",
    "Infrared light cannot be seen. Seeing nothing does not mean that a fibre is dark.",
    "Make sure with a power meter that the source is off and the fibre is dark before you connect the scope.",
    "Follow your local rules and your licensed practice.",
)
DARK_CHECKS = (
    "Measured with a power meter: no light",
    "Source switched off and locked, then measured with a power meter",
    "Patch cord that is connected to nothing at its other end",
    "Simulated microscope: there is no fibre",
)


class SessionDialog(QDialog):
    """Asks who sits at the bench and how the session is called; the last choices stand there already.

    Signals ``begun`` when the person accepts; the choices are then in the properties. ``recorded_wanted``
    asks for the recorded sessions instead.
    """

    begun = Signal()
    recorded_wanted = Signal()

    def __init__(
        self,
        *,
        session_name: str,
        operator: str,
        scope: str,
        criteria: Sequence[CriteriaRef],
        criteria_id: str,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("New session")
        self._name = text_line("Session", session_name, "Name of the session, such as the job or the cabinet")
        self._operator = text_line("Operator", operator, "Who sits at the bench; stands in the record")
        self._scope = text_line("Scope", scope, "Which microscope is used; stands in the record")
        self._criteria = QComboBox(self)
        self._criteria.setAccessibleName("Criteria")
        self._criteria.setToolTip("The acceptance table that faces are judged by")
        for ref in criteria:
            self._criteria.addItem(ref.title, ref)
        at = next((number for number, ref in enumerate(criteria) if ref.id == criteria_id), 0)
        self._criteria.setCurrentIndex(at)
        if criteria_id and criteria_id not in {ref.id for ref in criteria}:
            self.use_own_criteria(criteria_id)
        self._own = QPushButton("Own file …", self)
        self._own.setToolTip("Choose a criteria file of your own")
        self._own.setAutoDefault(False)
        self._own.clicked.connect(self._ask_own)
        self._about = words_label("", "quiet")
        self._start = QPushButton("Begin session", self)
        self._start.setDefault(True)
        cancel = QPushButton("Cancel", self)
        cancel.setToolTip("Leave it for now (Esc)")
        recorded = QPushButton("Open a recorded one …", self)
        recorded.setToolTip("Go on with an earlier session (Ctrl+O)")
        recorded.setShortcut("Ctrl+O")
        recorded.setAutoDefault(False)
        recorded.clicked.connect(self._ask_recorded)
        cancel.clicked.connect(self.reject)
        self._start.clicked.connect(self._accept)
        buttons = QHBoxLayout()
        buttons.addWidget(recorded)
        buttons.addStretch(1)
        buttons.addWidget(cancel)
        buttons.addWidget(self._start)
        form = QFormLayout()
        form.setSpacing(10)
        form.setLabelAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for text, field in (
            ("&Session", self._name),
            ("&Operator", self._operator),
            ("S&cope", self._scope),
        ):
            form.addRow(text, field)
        criteria_label = QLabel("C&riteria")
        criteria_label.setBuddy(self._criteria)
        criteria_row = QHBoxLayout()
        criteria_row.addWidget(self._criteria, 1)
        criteria_row.addWidget(self._own)
        form.addRow(criteria_label, criteria_row)
        column = QVBoxLayout(self)
        column.setContentsMargins(22, 20, 22, 18)
        column.setSpacing(14)
        column.addWidget(heading("New session"))
        column.addLayout(form)
        column.addWidget(self._about)
        column.addLayout(buttons)
        self.setMinimumWidth(620)
        for field in (self._name, self._operator):
            field.textChanged.connect(self._weigh)
        self._criteria.currentIndexChanged.connect(self._weigh)
        self._weigh()
        (self._operator if not operator else self._start).setFocus()

    @property
    def session_name(self) -> str:
        """The session's name."""
        return self._name.text().strip()

    @property
    def operator(self) -> str:
        """Who sits at the bench."""
        return self._operator.text().strip()

    @property
    def scope(self) -> str:
        """Which microscope is used."""
        return self._scope.text().strip()

    @property
    def criteria_id(self) -> str:
        """The short name of the chosen criteria, or the path of an own file."""
        chosen = self._criteria.currentData()
        return chosen.id if isinstance(chosen, CriteriaRef) else str(chosen)

    @property
    def missing(self) -> tuple[str, ...]:
        """What must still be filled in."""
        needed = (("session", self.session_name), ("operator", self.operator))
        return tuple(text for text, value in needed if not value)

    def fill(self, *, session_name: str, operator: str, scope: str) -> None:
        """Fill in the fields."""
        for field, text in ((self._name, session_name), (self._operator, operator), (self._scope, scope)):
            field.setText(text)

    def begin(self) -> None:
        """Accept, if everything that is needed is there."""
        self._start.click()

    def _weigh(self) -> None:
        ref = self._criteria.currentData()
        if isinstance(ref, CriteriaRef):
            unverified = f" {UNVERIFIED_NOTE}" if ref.unverified else ""
            self._about.setText(f"{ref.source}.{unverified} {WORTH_OF_THE_VERDICT}")
            self._about.setToolTip(ref.provenance)
        else:
            self._about.setText(
                f"Own criteria from {ref}; checked when the session begins. {WORTH_OF_THE_VERDICT}"
            )
            self._about.setToolTip("")
        missing = ", ".join(self.missing)
        self._start.setEnabled(not missing)
        self._start.setToolTip(f"Still needed: {missing}" if missing else "Begin (Enter)")

    def use_own_criteria(self, path: str) -> None:
        """Offer a criteria file of the person's own, and choose it."""
        self._criteria.addItem(f"{Path(path).name} (own file)", path)
        self._criteria.setCurrentIndex(self._criteria.count() - 1)

    def _ask_own(self) -> None:
        dialog = QFileDialog(self, "Choose a criteria file", "", "Criteria (*.yaml *.yml)")
        dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.use_own_criteria)
        dialog.open()

    def _ask_recorded(self) -> None:
        self.reject()
        self.recorded_wanted.emit()

    def _accept(self) -> None:
        self.accept()
        self.begun.emit()


class CautionDialog(QDialog):
    """The caution about lit fibre, which must be acknowledged before a live picture is shown.

    Signals ``acknowledged`` with the words that say how the source was made sure to be dark.
    """

    acknowledged = Signal(str)

    def __init__(self, operator: str, last_check: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Before you look: lit fibre")
        self._read = QCheckBox("I have read this and I have made sure that the fibres are dark.", self)
        self._read.setAccessibleName("I have read this and the fibres are dark")
        self._how = QComboBox(self)
        self._how.setEditable(True)
        self._how.setAccessibleName("How it was made sure")
        self._how.setToolTip("Choose, or write in your own words; it stands in the session's history")
        self._how.addItems(DARK_CHECKS)
        own = self._how.lineEdit()
        assert own is not None
        own.setPlaceholderText("Choose, or write in your own words")
        own.setAccessibleName("How it was made sure")
        if last_check and last_check not in DARK_CHECKS:
            self._how.insertItem(0, last_check)
        self._how.setCurrentIndex(self._how.findText(last_check) if last_check else -1)
        self._go = QPushButton("Start live view", self)
        self._go.setDefault(True)
        self._stay = QPushButton("Not now", self)
        self._stay.setToolTip("Recorded sessions can be read all the same (Esc)")
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(self._stay)
        buttons.addWidget(self._go)
        column = QVBoxLayout(self)
        column.setContentsMargins(26, 22, 26, 20)
        column.setSpacing(12)
        column.addWidget(heading("Before you look"))
        for sentence in CAUTION:
            words = words_label(sentence, "caution")
            column.addWidget(words)
        column.addSpacing(6)
        how = QLabel("&How was it made sure?", self)
        how.setBuddy(self._how)
        column.addWidget(how)
        column.addWidget(self._how)
        column.addWidget(self._read)
        column.addWidget(
            words_label(f"Kept in the session's history with the time and the name: {operator}.", "quiet")
        )
        column.addSpacing(6)
        column.addLayout(buttons)
        self.setMinimumWidth(700)
        self._go.clicked.connect(self._acknowledge)
        self._stay.clicked.connect(self.reject)
        self._read.toggled.connect(self._weigh)
        own.textChanged.connect(self._weigh)
        self._weigh()
        self._how.setFocus()

    @property
    def how(self) -> str:
        """How the source was made sure to be dark, in the person's words."""
        return self._how.currentText().strip()

    @property
    def ready(self) -> bool:
        """Whether it can be acknowledged: the box is ticked and the way is named."""
        return self._go.isEnabled()

    def fill(self, *, how: str, read: bool) -> None:
        """Say how it was made sure, and tick the box or not."""
        self._how.setEditText(how)
        self._read.setChecked(read)

    def acknowledge(self) -> None:
        """Acknowledge, if everything that is needed is there."""
        self._go.click()

    def _weigh(self) -> None:
        ready = self._read.isChecked() and bool(self.how)
        self._go.setEnabled(ready)
        self._go.setToolTip("Start (Enter)" if ready else "Say how it was made sure, and tick the box")

    def _acknowledge(self) -> None:
        self.accept()
        self.acknowledged.emit(self.how)


class PortDialog(QDialog):
    """Asks for the port when a capture was begun without one; signals ``named`` with the label."""

    named = Signal(str)

    def __init__(self, proposal: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Which port is this?")
        self._label = text_line("Port", proposal, "The port's ID, exactly as it shall stand in the record")
        self._label.selectAll()
        capture = QPushButton("Capture", self)
        capture.setDefault(True)
        capture.setToolTip("Capture (Enter)")
        cancel = QPushButton("Cancel", self)
        cancel.clicked.connect(self.reject)
        capture.clicked.connect(self._name)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(cancel)
        buttons.addWidget(capture)
        column = QVBoxLayout(self)
        column.setContentsMargins(22, 20, 22, 18)
        column.setSpacing(12)
        column.addWidget(heading("Which port is this?"))
        column.addWidget(self._label)
        column.addLayout(buttons)
        self.setMinimumWidth(420)
        self._label.textChanged.connect(lambda text: capture.setEnabled(bool(text.strip())))
        self._label.setFocus()

    @property
    def proposal(self) -> str:
        """The label as it stands in the field."""
        return self._label.text()

    def name_port(self, label: str) -> None:
        """Name the port and capture."""
        self._label.setText(label)
        self._name()

    def _name(self) -> None:
        label = self._label.text().strip()
        if label:
            self.accept()
            self.named.emit(label)


class WordsDialog(QDialog):
    """A page of plain words: the shortcuts, or what the verdict is worth."""

    def __init__(self, title: str, paragraphs: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        column = QVBoxLayout(self)
        column.setContentsMargins(26, 22, 26, 20)
        column.setSpacing(12)
        column.addWidget(heading(title))
        for paragraph in paragraphs:
            column.addWidget(words_label(paragraph))
        close = QPushButton("Close", self)
        close.setDefault(True)
        close.setToolTip("Close (Esc)")
        close.clicked.connect(self.accept)
        row = QHBoxLayout()
        row.addStretch(1)
        row.addWidget(close)
        column.addLayout(row)
        self.setMinimumWidth(640)


class KeyTable(WordsDialog):
    """The list of shortcuts."""

    def __init__(self, keys: Sequence[tuple[str, str]], parent: QWidget | None = None) -> None:
        super().__init__("Keys", (), parent)
        grid = QGridLayout()
        grid.setHorizontalSpacing(14)
        grid.setVerticalSpacing(8)
        half = (len(keys) + 1) // 2
        for place, (key, words) in enumerate(keys):
            name = QLabel(key, self)
            name.setObjectName("key")
            side = 3 * (place // half)
            grid.addWidget(name, place % half, side, Qt.AlignmentFlag.AlignLeft)
            grid.addWidget(QLabel(words, self), place % half, side + 1)
        grid.setColumnMinimumWidth(2, 30)
        column = self.layout()
        assert isinstance(column, QVBoxLayout)
        column.insertLayout(1, grid)
        column.setSizeConstraint(
            QLayout.SizeConstraint.SetFixedSize
        )  # Qt else cuts at two thirds of the screen


def text_line(name: str, text: str, tip: str) -> QLineEdit:
    """Return a line to write in, with its name and explanation."""
    line = QLineEdit(text)
    line.setAccessibleName(name)
    line.setToolTip(tip)
    return line


def heading(text: str) -> QLabel:
    """Return a dialog's heading."""
    label = QLabel(text)
    font = QFont(label.font())
    font.setPointSize(17)
    font.setBold(True)
    label.setFont(font)
    return label


def words_label(text: str, kind: str = "") -> QLabel:
    """Return words that wrap; ``kind`` names their style."""
    label = QLabel(text)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    if kind:
        label.setObjectName(kind)
    return label
