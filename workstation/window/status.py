"""The status line: what was told last, and below it source, size, rate, scale, blur and session."""

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QStatusBar, QVBoxLayout, QWidget

from workstation.frames import Feed
from workstation.values import Fit, Frame, NoFit, Session
from workstation.window.words import SCALE_SOURCE

TOLD_MS = 12_000
_FIELDS = (
    ("source", "Source", "Where pictures come from", 26),
    ("size", "Size", "Width and height of the live picture, in pixels", 12),
    ("rate", "Rate", "Pictures shown a second", 12),
    ("scale", "Scale", "Micrometres a pixel", 13),
    ("blur", "Blur", "Blur at the edge of the cladding: turn the focus until it is least", 13),
)


class StatusLine(QStatusBar):
    """Two lines of fixed height: a sentence, and fields that keep their places."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizeGripEnabled(False)
        self._said = ""
        self._told = QLabel(self)
        self._told.setObjectName("told")
        self._told.setAccessibleName("What was told last")
        self._told.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._fields = {name: self._field(title, tip, letters) for name, title, tip, letters in _FIELDS}
        self._session = self._field("Session", "The session that captures go to", 0)
        row = QHBoxLayout()
        row.setSpacing(0)
        for field in self._fields.values():
            row.addWidget(field)
        row.addStretch(1)
        row.addWidget(self._session)
        box = QWidget(self)
        lines = QVBoxLayout(box)
        lines.setContentsMargins(6, 2, 6, 2)
        lines.setSpacing(0)
        lines.addWidget(self._told)
        lines.addLayout(row)
        self.addPermanentWidget(box, 1)
        self._fading = QTimer(self)
        self._fading.setSingleShot(True)
        self._fading.setInterval(TOLD_MS)
        self._fading.timeout.connect(self.hush)

    @property
    def said(self) -> str:
        """The last sentence that was told."""
        return self._said

    @property
    def fields(self) -> str:
        """The fields as they stand on the screen."""
        fields = (*self._fields.values(), self._session)
        return " · ".join(field.text() for field in fields if field.text())

    def tell(self, sentence: str, *, trouble: bool = False) -> None:
        """Show a sentence for a while; a trouble stays until something else is told or done."""
        self._said = sentence
        self._write()
        if trouble:
            self._fading.stop()
        else:
            self._fading.start()

    def hush(self) -> None:
        """Take the sentence away."""
        self._said = ""
        self._write()

    def show_session(self, session: Session) -> None:
        """Name the session."""
        self._session.setText(session.name)

    def show_live(self, feed: Feed | None, frame: Frame | None, fit: Fit | NoFit | None, rate: float) -> None:
        """Show the numbers of the live picture."""
        here = feed is not None and frame is not None and feed.trouble is None
        fields = self._fields
        fields["source"].setText(feed.name if feed is not None else "no source")
        fields["size"].setText(f"{frame.width} × {frame.height}" if here and frame is not None else "")
        fields["rate"].setText(f"{rate:.0f} a second" if here and rate > 0 else "")
        found = fit if here and isinstance(fit, Fit) else None
        fields["scale"].setText(f"{found.um_per_px:.3f} µm/px" if found else "")
        fields["blur"].setText(f"blur {found.blur_um:.2f} µm" if found else "")
        if found:
            fields["scale"].setToolTip(f"Micrometres a pixel, {SCALE_SOURCE[found.scale_source]}")

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Shorten the sentence anew."""
        super().resizeEvent(event)
        self._write()

    def _write(self) -> None:
        room = max(self.width() - 40, 100)
        metrics = self._told.fontMetrics()
        self._told.setText(metrics.elidedText(self._said, Qt.TextElideMode.ElideRight, room) or " ")
        self._told.setToolTip(self._said)

    def _field(self, name: str, tip: str, letters: int) -> QLabel:
        label = QLabel(self)
        label.setAccessibleName(name)
        label.setToolTip(tip)
        if letters:
            label.setMinimumWidth(self.fontMetrics().averageCharWidth() * letters + 20)
        return label
