"""The verdict in words: outcome, what to do next, why, zones, features, and what the verdict rests on."""

from PySide6.QtCore import QItemSelection, QSize, Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QSizePolicy,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from workstation.values import CriteriaRef, Reading, Verdict
from workstation.window.basis import basis_words
from workstation.window.shapes import OutcomeShape
from workstation.window.tables import (
    check_table,
    feature_table,
    fill_checks,
    fill_features,
    fill_zones,
    zone_table,
)
from workstation.window.words import OUTCOME, OUTCOME_MEANS, UNVERIFIED_NOTE, WORTH_OF_THE_VERDICT


class ReadingPanel(QWidget):
    """Shows one reading with its verdict; signals ``feature_picked`` with the number chosen in the table."""

    feature_picked = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shape = OutcomeShape(60, self)
        self._word = QLabel("Not graded yet", self)
        self._word.setObjectName("verdict")
        self._title = _label("", self, "quiet")
        self._next = _label("", self, "step")
        self._reasons = _label("", self)
        self._reasons.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._zones, self._zone_rows = zone_table(self)
        self._features, self._feature_rows = feature_table(self)
        self._checks, self._check_rows = check_table(self)
        self._criteria = _label("", self, "quiet")
        self._tabs = QTabWidget(self)
        self._tabs.setDocumentMode(True)
        self._tabs.setAccessibleName("Features and conditions")
        self._tabs.tabBar().setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._tabs.addTab(self._features, "Features")
        self._tabs.addTab(self._checks, "Conditions")
        self._basis = _label("", self)
        self._basis.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._basis_scroll = _scrolled(self._basis, "What the verdict rests on", self)
        self._tabs.addTab(self._basis_scroll, "Basis")
        self._tabs.setTabToolTip(2, "What the verdict rests on: criteria, scale, what could have been seen")
        self._scroll = _scrolled(self._reasons, "Reasons", self)
        self._arrange()
        self._features.selectionModel().selectionChanged.connect(self._picked)
        self.clear()

    @property
    def verdict_words(self) -> str:
        """The outcome as it stands on the screen."""
        return self._word.text()

    @property
    def reasons_words(self) -> str:
        """The reasons as they stand on the screen."""
        return self._reasons.text()

    @property
    def criteria_words(self) -> str:
        """What the verdict rests on, as it stands on the screen."""
        return self._criteria.text()

    @property
    def basis_words(self) -> str:
        """What the tab about the verdict's basis says."""
        return self._basis.text()

    @property
    def feature_count(self) -> int:
        """How many features the table shows."""
        return self._feature_rows.rowCount()

    @property
    def tab_order(self) -> tuple[QWidget, ...]:
        """The parts that Tab visits, in this order."""
        return (
            self._scroll,
            self._zones,
            self._tabs.tabBar(),
            self._features,
            self._checks,
            self._basis_scroll,
        )

    def sizeHint(self) -> QSize:
        """Ask for a column that takes the tables without cutting them."""
        return QSize(470, 700)

    def show_reading(self, title: str, reading: Reading, verdict: Verdict, seconds: float) -> None:
        """Show what was found and what the criteria say of it."""
        self._shape.show_outcome(verdict.outcome)
        self._word.setText(OUTCOME[verdict.outcome])
        self._word.setToolTip(OUTCOME_MEANS[verdict.outcome])
        self._title.setText(f"{title} · graded in {seconds:.2f} s")
        self._next.setText(verdict.next_step)
        self._next.setVisible(bool(verdict.next_step))
        self._reasons.setText(
            "\n".join(f"•  {reason}" for reason in verdict.reasons) or OUTCOME_MEANS[verdict.outcome]
        )
        fill_zones(self._zone_rows, verdict.zones)
        fill_features(self._feature_rows, reading, verdict)
        fill_checks(self._check_rows, verdict.checks or reading.readiness.checks)
        self._tabs.setTabText(0, f"Features ({len(reading.features)})")
        failed = sum(not check.ok for check in verdict.checks)
        self._tabs.setTabText(1, f"Conditions ({failed} not met)" if failed else "Conditions (all met)")
        self._tabs.setCurrentIndex(1 if failed and not reading.features else 0)
        self._basis.setText(basis_words(reading, verdict))
        self.show_criteria(verdict.criteria)

    def show_criteria(self, criteria: CriteriaRef | None) -> None:
        """Say what a verdict rests on and what it is worth."""
        if criteria is None:
            self._criteria.setText(WORTH_OF_THE_VERDICT)
            return
        unverified = f" {UNVERIFIED_NOTE}" if criteria.unverified else ""
        self._criteria.setText(f"{criteria.title}.{unverified} {WORTH_OF_THE_VERDICT}")
        self._criteria.setToolTip(f"{criteria.source}\n{criteria.provenance}")

    def show_waiting(self, words: str) -> None:
        """Say that a picture is being graded; what was shown before stays away from the eye."""
        self.clear()
        self._word.setText(words)

    def show_trouble(self, what: str, sentence: str) -> None:
        """Say that a picture could not be graded or kept, and what to do."""
        self.clear()
        self._word.setText("Not graded")
        self._title.setText(what)
        self._reasons.setText(sentence)

    def clear(self) -> None:
        """Show that nothing is graded."""
        self._shape.show_outcome(None)
        self._word.setText("Not graded yet")
        self._word.setToolTip("")
        self._title.setText("Bring the fibre into view and capture.")
        self._next.setVisible(False)
        self._reasons.setText("")
        self._zone_rows.fill([])
        self._feature_rows.fill([])
        self._check_rows.fill([])
        self._basis.setText("")
        self._tabs.setTabText(0, "Features")
        self._tabs.setTabText(1, "Conditions")

    def choose_feature(self, number: int) -> None:
        """Choose a feature's row; 0 or an unknown number chooses none."""
        row = self._feature_rows.row_of(number)
        if row is None:
            self._features.clearSelection()
        else:
            self._tabs.setCurrentIndex(0)
            self._features.selectRow(row)

    def _picked(self, chosen: QItemSelection, _before: QItemSelection) -> None:
        rows = [index.row() for index in chosen.indexes()]
        self.feature_picked.emit(self._feature_rows.key(rows[0]) if rows else 0)

    def _arrange(self) -> None:
        font = QFont(self.font())
        font.setPointSize(24)
        font.setBold(True)
        self._word.setFont(font)
        head_words = QVBoxLayout()
        head_words.setSpacing(0)
        head_words.addWidget(self._word)
        head_words.addWidget(self._title)
        head = QHBoxLayout()
        head.setSpacing(14)
        head.addWidget(self._shape)
        head.addLayout(head_words, 1)
        self._scroll.setMinimumHeight(70)
        self._zones.setFixedHeight(26 * 4 + 36)
        self._zones.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._zones.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(10)
        column.addLayout(head)
        column.addWidget(self._next)
        column.addWidget(self._scroll, 2)
        column.addWidget(self._zones)
        column.addWidget(self._tabs, 3)
        column.addWidget(self._criteria)


def _scrolled(label: QLabel, name: str, parent: QWidget) -> QScrollArea:
    scroll = QScrollArea(parent)
    scroll.setWidgetResizable(True)
    scroll.setFrameShape(QFrame.Shape.NoFrame)
    scroll.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    scroll.setAccessibleName(name)
    scroll.setWidget(label)
    return scroll


def _label(text: str, parent: QWidget, kind: str = "") -> QLabel:
    label = QLabel(text, parent)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    policy = label.sizePolicy()  # keeps that the height follows from the width
    policy.setVerticalPolicy(QSizePolicy.Policy.Minimum)
    label.setSizePolicy(policy)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    label.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    if kind:
        label.setObjectName(kind)
    return label
