"""The field for the port's ID."""

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLineEdit


class PortField(QLineEdit):
    """A line to write in that keeps Enter to itself: it ends the writing, and must not capture besides."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Write, and let no Enter through to the window."""
        super().keyPressEvent(event)
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            event.accept()
