"""The status line: source, size, rate, scale, blur and session; and what was told last."""

from PySide6.QtWidgets import QLabel, QStatusBar, QWidget

from workstation.frames import Feed
from workstation.values import Fit, Frame, NoFit, Session
from workstation.window.words import SCALE_SOURCE

TOLD_MS = 12_000


class StatusLine(QStatusBar):
    """Words on the left come and go; the fields on the right keep their places."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizeGripEnabled(False)
        self._said = ""
        self._source = self._field("Source", "Where pictures come from", 0)
        self._size = self._field("Size", "Width and height of the live picture, in pixels", 12)
        self._rate = self._field("Rate", "Pictures shown a second", 7)
        self._scale = self._field("Scale", "Micrometres a pixel, and what that rests on", 14)
        self._blur = self._field(
            "Blur", "Blur at the edge of the cladding: turn the focus until it is least", 11
        )
        self._session = self._field("Session", "The session that captures go to", 0)

    @property
    def said(self) -> str:
        """The last sentence that was told."""
        return self._said

    @property
    def fields(self) -> str:
        """The fields as they stand on the screen."""
        return " · ".join(
            field.text()
            for field in (self._source, self._size, self._rate, self._scale, self._blur, self._session)
            if field.text()
        )

    def tell(self, sentence: str) -> None:
        """Show a sentence for a while."""
        self._said = sentence
        self.showMessage(sentence, TOLD_MS)

    def show_session(self, session: Session) -> None:
        """Name the session."""
        self._session.setText(session.name)

    def show_port(self, _label: str) -> None:
        """Take away what was told about another port."""
        self.clearMessage()

    def show_live(self, feed: Feed | None, frame: Frame | None, fit: Fit | NoFit | None, rate: float) -> None:
        """Show the numbers of the live picture."""
        here = feed is not None and frame is not None and feed.trouble is None
        self._source.setText(feed.name if feed is not None else "no source")
        self._size.setText(f"{frame.width} × {frame.height}" if here and frame is not None else "")
        self._rate.setText(f"{rate:.0f}/s" if here else "")
        fitted = here and isinstance(fit, Fit)
        self._scale.setText(f"{fit.um_per_px:.3f} µm/px" if fitted and isinstance(fit, Fit) else "")
        self._blur.setText(f"blur {fit.blur_um:.2f} µm" if fitted and isinstance(fit, Fit) else "")
        if isinstance(fit, Fit):
            self._scale.setToolTip(f"Micrometres a pixel, {SCALE_SOURCE[fit.scale_source]}")

    def _field(self, name: str, tip: str, letters: int) -> QLabel:
        label = QLabel(self)
        label.setAccessibleName(name)
        label.setToolTip(tip)
        if letters:
            label.setMinimumWidth(self.fontMetrics().averageCharWidth() * (letters + 2) + 20)
        self.addPermanentWidget(label)
        return label
