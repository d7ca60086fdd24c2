"""The shapes that stand beside the verdict's word, so that no verdict is told by colour."""

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QIcon, QPainter, QPen, QPixmap, QPolygonF
from PySide6.QtWidgets import QWidget

from workstation.values import Outcome
from workstation.window.theme import DARK

Spot = tuple[float, float]


def paint_outcome(
    painter: QPainter, outcome: Outcome | None, box: QRectF, colour: QColor, paper: QColor
) -> None:
    """Paint an outcome's shape into a square box.

    A ring with a tick passes; a filled square with a cross fails; a half-filled lozenge is borderline; a
    broken ring with a question mark is unreadable. None paints a dot: nothing graded yet.
    """
    side = min(box.width(), box.height())
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(box.center())
    painter.scale(side / 100.0, side / 100.0)  # below, the box runs from -50 to 50
    line = QPen(colour, 9, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin)
    painter.setPen(line)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    if outcome is Outcome.PASS:
        painter.drawEllipse(QRectF(-42, -42, 84, 84))
        painter.drawPolyline(_line((-20, 1), (-5, 17), (21, -15)))
    elif outcome is Outcome.FAIL:
        painter.setBrush(colour)
        painter.drawRoundedRect(QRectF(-41, -41, 82, 82), 6, 6)
        painter.setPen(QPen(paper, 11, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
        painter.drawLine(QPointF(-19, -19), QPointF(19, 19))
        painter.drawLine(QPointF(-19, 19), QPointF(19, -19))
    elif outcome is Outcome.BORDERLINE:
        painter.drawPolygon(_line((0, -44), (44, 0), (0, 44), (-44, 0)))
        painter.setBrush(colour)
        painter.drawPolygon(_line((0, -44), (0, 44), (-44, 0)))
    elif outcome is Outcome.UNREADABLE:
        line.setCapStyle(Qt.PenCapStyle.FlatCap)
        line.setDashPattern([2.2, 1.46])
        painter.setPen(line)
        painter.drawEllipse(QRectF(-42, -42, 84, 84))
        font = painter.font()
        font.setPixelSize(58)
        font.setBold(True)
        painter.setFont(font)
        painter.setPen(QPen(colour))
        painter.drawText(QRectF(-42, -42, 84, 84), Qt.AlignmentFlag.AlignCenter, "?")
    else:
        painter.setPen(Qt.PenStyle.NoPen)
        faint = QColor(colour)
        faint.setAlpha(90)
        painter.setBrush(faint)
        painter.drawEllipse(QRectF(-12, -12, 24, 24))
    painter.restore()


def outcome_icon(
    outcome: Outcome, side: int = 24, colour: str = DARK.text, paper: str = DARK.ground
) -> QIcon:
    """Return an outcome's shape as an icon."""
    picture = QPixmap(QSize(side, side))
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    paint_outcome(painter, outcome, QRectF(1, 1, side - 2, side - 2), QColor(colour), QColor(paper))
    painter.end()
    icon = QIcon(picture)
    icon.addPixmap(picture, QIcon.Mode.Selected)  # not tinted in a chosen row
    return icon


class OutcomeShape(QWidget):
    """A square that shows an outcome's shape."""

    def __init__(self, side: int, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._outcome: Outcome | None = None
        self.setFixedSize(side, side)

    def show_outcome(self, outcome: Outcome | None) -> None:
        """Show the shape of this outcome; None shows that nothing is graded."""
        self._outcome = outcome
        self.update()

    def paintEvent(self, _event: object) -> None:
        """Paint the shape."""
        painter = QPainter(self)
        colour = QColor(DARK.accent if self._outcome is not None else DARK.quiet)
        paint_outcome(
            painter, self._outcome, QRectF(self.rect()).adjusted(2, 2, -2, -2), colour, QColor(DARK.ground)
        )
        painter.end()


def _line(*spots: Spot) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in spots])
