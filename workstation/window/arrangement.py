"""Where the parts of the window stand, and the order in which Tab visits them."""

from itertools import pairwise
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QSplitter, QVBoxLayout, QWidget

if TYPE_CHECKING:
    from workstation.window.main_window import MainWindow

LEFT_WIDTH, RIGHT_WIDTH = 376, 484
NARROW_LEFT, NARROW_RIGHT = 330, 456
NARROW_BELOW = 1500
"""Width of a window in which the side columns make room for the picture."""
SMALLEST = (1080, 700)


def arrange(window: "MainWindow") -> None:
    """Put the parts into the window: list on the left, picture in the middle, verdict on the right."""
    _prepare(window)
    splitter = QSplitter(Qt.Orientation.Horizontal, window)
    splitter.setHandleWidth(14)
    splitter.setChildrenCollapsible(False)
    for column, stretch in ((_left(window), 0), (_middle(window), 1), (_right(window), 0)):
        splitter.addWidget(column)
        splitter.setStretchFactor(splitter.count() - 1, stretch)
    window.columns = splitter
    outer = QWidget(window)
    row = QHBoxLayout(outer)
    row.setContentsMargins(14, 6, 14, 8)
    row.addWidget(splitter)
    window.setCentralWidget(outer)
    window.setStatusBar(window.status)
    window.setMinimumSize(*SMALLEST)
    order = (
        window.stage.live,
        window.stage.graded,
        window.port,
        window.next_button,
        window.capture_button,
        *window.panel.tab_order,
        window.table,
    )
    for before, after in pairwise(order):
        QWidget.setTabOrder(before, after)


def share_width(window: "MainWindow") -> None:
    """Give the columns their first widths; the person may move the dividers afterwards."""
    narrow = window.width() < NARROW_BELOW
    left, right = (NARROW_LEFT, NARROW_RIGHT) if narrow else (LEFT_WIDTH, RIGHT_WIDTH)
    window.columns.setSizes([left, window.width() - left - right, right])


def _prepare(window: "MainWindow") -> None:
    window.session_words.setObjectName("caption")
    window.port.setObjectName("port")
    window.port.setAccessibleName("Port ID")
    window.port.setPlaceholderText("Port ID")
    window.port.setMaxLength(300)
    window.port.setToolTip("The port's ID as it shall stand in the record (Ctrl+P)")
    window.capture_button.setObjectName("capture")
    window.capture_button.setAccessibleName("Capture and grade")
    window.next_button.setAccessibleName("Next port")
    window.next_button.setToolTip("Go to the next port and to the live picture (N)")
    for button in (window.capture_button, window.next_button):
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click leaves the capture keys with the picture
    window.capture_button.setEnabled(False)


def _left(window: "MainWindow") -> QWidget:
    column, rows = _column(window, top=10, spacing=8)
    column.setMinimumWidth(NARROW_LEFT)
    rows.addWidget(window.stage.small)
    rows.addWidget(window.session_words)
    rows.addWidget(window.table, 1)
    return column


def _middle(window: "MainWindow") -> QWidget:
    column, rows = _column(window, top=0, spacing=0)
    rows.addWidget(window.stage.large, 1)
    rows.addWidget(window.knobs)
    return column


def _right(window: "MainWindow") -> QWidget:
    column, rows = _column(window, top=10, spacing=10)
    column.setMinimumWidth(NARROW_RIGHT)
    port_row = QHBoxLayout()
    port_row.setSpacing(8)
    port_row.addWidget(window.port, 1)
    port_row.addWidget(window.next_button)
    rows.addLayout(port_row)
    rows.addWidget(window.capture_button)
    rows.addSpacing(8)
    rows.addWidget(window.panel, 1)
    return column


def _column(window: "MainWindow", *, top: int, spacing: int) -> tuple[QWidget, QVBoxLayout]:
    column = QWidget(window)
    rows = QVBoxLayout(column)
    rows.setContentsMargins(0, top, 0, 0)
    rows.setSpacing(spacing)
    return column, rows
