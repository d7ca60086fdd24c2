"""One picture with what is drawn over it; zoom to the cursor, drag to move, fit, one to one.

A grey or large picture is painted straight from the array's memory (no copy), so an array that was handed over
must never be written to again.
"""

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSize, QSizeF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from workstation.window.overlay import Overlay, OverlayPainter
from workstation.window.theme import DARK

LARGEST_ZOOM = 40.0
ROOM_FOR_WORDS_PX = 420
"""A narrower view shows no letters and numbers, and its sign in small type."""
TURNED_UP_TO_PX = 1_500_000
"""Qt scales a picture in another layout than the screen's at twice the cost; measured at 640 to 1100 pixels."""
_STEP = 1.25
_KEY_MOVE = 60.0


def image_over(pixels: NDArray[np.uint8]) -> QImage:
    """Return a QImage over the array's own memory.

    Parameters
    ----------
    pixels
        uint8, (height, width) grey or (height, width, 3) blue-green-red. Rows that don't lie close together
        are copied first. The image keeps the memory alive.

    Raises
    ------
    ValueError
        Another shape or type.
    """
    if pixels.dtype != np.uint8 or pixels.ndim not in (2, 3) or (pixels.ndim == 3 and pixels.shape[2] != 3):
        raise ValueError(
            f"A picture is uint8, grey or with 3 colours; this is {pixels.dtype} {pixels.shape}."
        )
    rows = np.ascontiguousarray(pixels)
    layout = QImage.Format.Format_Grayscale8 if rows.ndim == 2 else QImage.Format.Format_BGR888
    # bytesPerLine is always given: Qt otherwise takes rows to be padded to four bytes
    return QImage(rows.data, rows.shape[1], rows.shape[0], rows.strides[0], layout)


def _quick_to_paint(image: QImage) -> QImage:
    """Turn a colour picture into the screen's own layout, unless it is so large that turning costs more."""
    if image.format() is QImage.Format.Format_BGR888 and image.width() * image.height() <= TURNED_UP_TO_PX:
        return image.convertToFormat(QImage.Format.Format_RGB32)
    return image


class PictureView(QWidget):
    """Shows a picture; signals ``feature_picked`` with a feature's number, or 0 when the click met none."""

    feature_picked = Signal(int)
    clicked = Signal()

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self._image: QImage | None = None
        self._pixels: NDArray[np.uint8] | None = None
        self._overlay: Overlay | None = None
        self._chosen: int | None = None
        self._sign: tuple[str, str] | None = None
        self._layer: QImage | None = None
        self._fitted = True
        self._zoom = 1.0
        self._origin = QPointF(0, 0)  # the picture's top-left corner on the widget
        self._grip: QPointF | None = None
        self._moved = False
        self.rings_shown = True
        self.features_shown = True
        self.smooth = True

    @property
    def pixels(self) -> NDArray[np.uint8] | None:
        """The picture shown, or None."""
        return self._pixels

    @property
    def overlay(self) -> Overlay | None:
        """What is drawn over the picture, or None."""
        return self._overlay

    @property
    def zoom(self) -> float:
        """Screen pixels for a pixel of the picture."""
        return self._zoom

    @property
    def sign(self) -> str:
        """The words of the sign that stands in the picture's place, or an empty text."""
        return "" if self._sign is None else "\n".join(self._sign)

    def sizeHint(self) -> QSize:
        """Ask for room, but accept little."""
        return QSize(640, 512)

    def show_picture(self, pixels: NDArray[np.uint8] | None, overlay: Overlay | None = None) -> None:
        """Show a picture with what belongs over it; None empties the view."""
        before = None if self._image is None else self._image.size()
        self._pixels = pixels
        self._image = None if pixels is None else _quick_to_paint(image_over(pixels))
        self._overlay = overlay
        if self._image is not None and self._image.size() != before:
            self._fitted = True
        if self._fitted:
            self._place_whole()
        self.update()

    def show_sign(self, title: str, words: str = "") -> None:
        """Put a plain sign over the (dimmed) picture; an empty title takes it away."""
        sign = (title, words) if title else None
        if sign != self._sign:
            self._sign = sign
            self.update()

    def choose_feature(self, number: int | None) -> None:
        """Let one feature stand out, or none."""
        if number != self._chosen:
            self._chosen = number
            self.update()

    def fit_to_window(self) -> None:
        """Show the whole picture, and keep it whole when the window's size changes."""
        self._fitted = True
        self._place_whole()
        self.update()

    def one_to_one(self) -> None:
        """Show one pixel of the picture as one pixel of the screen, about the middle."""
        self._zoom_about(QPointF(self.rect().center()), 1.0 / self.devicePixelRatioF() / self._zoom)

    def zoom_in(self) -> None:
        """Come closer, about the middle."""
        self._zoom_about(QPointF(self.rect().center()), _STEP)

    def zoom_out(self) -> None:
        """Step back, about the middle."""
        self._zoom_about(QPointF(self.rect().center()), 1.0 / _STEP)

    def _smallest_zoom(self) -> float:
        if self._image is None or self._image.width() == 0 or self._image.height() == 0:
            return 1.0
        return min(self.width() / self._image.width(), self.height() / self._image.height())

    def _place_whole(self) -> None:
        if self._image is None:
            return
        self._zoom = max(self._smallest_zoom(), 1e-3)
        self._settle()

    def _zoom_about(self, spot: QPointF, factor: float) -> None:
        if self._image is None:
            return
        whole = self._smallest_zoom()
        zoom = min(max(self._zoom * factor, min(whole, 1.0)), LARGEST_ZOOM)
        self._origin = spot - (spot - self._origin) * (zoom / self._zoom)
        self._zoom = zoom
        self._fitted = abs(zoom - whole) < 1e-9
        self._settle()
        self.update()

    def _settle(self) -> None:
        """Keep the picture in view: centred where it is smaller than the widget, else without gaps."""
        if self._image is None:
            return
        places = []
        for room, size, at in (
            (self.width(), self._image.width() * self._zoom, self._origin.x()),
            (self.height(), self._image.height() * self._zoom, self._origin.y()),
        ):
            places.append((room - size) / 2.0 if size <= room else min(0.0, max(room - size, at)))
        self._origin = QPointF(*places)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint picture, rings, features and sign."""
        painter = QPainter(self)
        painter.fillRect(event.rect(), QColor(DARK.picture))
        if self._image is not None:
            self._paint_picture(painter)
        if self._sign is not None:
            self._paint_sign(painter, *self._sign)
        if self.hasFocus():
            painter.setPen(QColor(DARK.line))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(0, 0, -1, -1))
        painter.end()

    def _paint_picture(self, painter: QPainter) -> None:
        assert self._image is not None
        # magnified pixels stay square, so that a person sees what was measured
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, self.smooth and self._zoom < 3.0)
        size = QRectF(0, 0, self._image.width(), self._image.height())
        seen = QRectF(
            -self._origin.x() / self._zoom,
            -self._origin.y() / self._zoom,
            self.width() / self._zoom,
            self.height() / self._zoom,
        ).intersected(size)
        seen = QRectF(seen.toAlignedRect()).intersected(size)
        target = QRectF(self._origin + seen.topLeft() * self._zoom, seen.size() * self._zoom)
        painter.drawImage(target, self._image, seen)
        if self._sign is not None:
            dim = QColor(DARK.picture)
            dim.setAlpha(190)
            painter.fillRect(target, dim)
        elif self._overlay is not None:
            if self.rings_shown:
                self._paint_rings(painter)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            if self.features_shown:
                self._overlay_painter(painter).paint_marks(self._chosen)

    def _paint_rings(self, painter: QPainter) -> None:
        """Paint the rings on a layer of their own and lay it over the picture; only the part that they need."""
        place = self._overlay_painter(painter).room_of_rings().toAlignedRect().intersected(self.rect())
        if place.isEmpty():
            return
        ratio = self.devicePixelRatioF()
        size = (QSizeF(self.size()) * ratio).toSize()
        if self._layer is None or self._layer.size() != size:
            self._layer = QImage(size, QImage.Format.Format_ARGB32_Premultiplied)
        self._layer.setDevicePixelRatio(ratio)
        brush = QPainter(self._layer)
        brush.setFont(self.font())
        brush.setCompositionMode(QPainter.CompositionMode.CompositionMode_Source)
        brush.fillRect(place.adjusted(-1, -1, 1, 1), Qt.GlobalColor.transparent)
        brush.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._overlay_painter(brush).paint_rings()
        brush.end()
        painter.save()
        painter.setClipRect(place)
        painter.drawImage(0, 0, self._layer)
        painter.restore()

    def _overlay_painter(self, painter: QPainter) -> OverlayPainter:
        assert self._overlay is not None
        half = self._zoom / 2.0  # the centre of the first pixel is (0, 0)
        origin = self._origin + QPointF(half, half)
        roomy = self.width() >= ROOM_FOR_WORDS_PX
        return OverlayPainter(painter, self._overlay, origin, self._zoom, DARK, plates=roomy)

    def _paint_sign(self, painter: QPainter, title: str, words: str) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        small = self.width() < ROOM_FOR_WORDS_PX
        font = QFont(self.font())
        font.setPixelSize(14 if small else 22)
        font.setBold(True)
        painter.setFont(font)
        room = QRectF(self.rect()).adjusted(12, 12, -12, -12)
        room.setWidth(min(room.width(), 620.0))
        room.moveCenter(QPointF(self.rect().center()))
        flags = Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap
        head = painter.boundingRect(room, flags, title)
        font.setBold(False)
        font.setPixelSize(12 if small else 16)
        painter.setFont(font)
        body = painter.boundingRect(room, flags, words) if words else QRectF()
        top = room.center().y() - (head.height() + body.height() + 12) / 2
        painter.setPen(QColor(DARK.text))
        painter.drawText(
            QRectF(room.left(), top + head.height() + 12, room.width(), body.height() + 4), flags, words
        )
        font.setBold(True)
        font.setPixelSize(14 if small else 22)
        painter.setFont(font)
        painter.drawText(QRectF(room.left(), top, room.width(), head.height() + 4), flags, title)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep a whole picture whole."""
        super().resizeEvent(event)
        if self._fitted:
            self._place_whole()
        else:
            self._settle()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom about the cursor."""
        turns = event.angleDelta().y() / 120.0
        if turns:
            self._zoom_about(event.position(), _STEP**turns)
        event.accept()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of the picture."""
        if event.button() == Qt.MouseButton.LeftButton:
            self._grip = event.position()
            self._moved = False

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Move the picture along."""
        if self._grip is None:
            return
        step = event.position() - self._grip
        if self._moved or step.manhattanLength() > 4:
            self._moved = True
            self._grip = event.position()
            self._origin += step
            self._settle()
            self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Pick the feature under a click that did not move."""
        if self._grip is not None and not self._moved:
            self.feature_picked.emit(self._feature_at(event.position()))
            self.clicked.emit()
        self._grip = None

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Move a magnified picture with the arrow keys."""
        steps = {
            Qt.Key.Key_Left: QPointF(_KEY_MOVE, 0),
            Qt.Key.Key_Right: QPointF(-_KEY_MOVE, 0),
            Qt.Key.Key_Up: QPointF(0, _KEY_MOVE),
            Qt.Key.Key_Down: QPointF(0, -_KEY_MOVE),
        }
        step = steps.get(Qt.Key(event.key()))
        if step is None or self._fitted:
            event.ignore()
            return
        self._origin += step
        self._settle()
        self.update()

    def _feature_at(self, spot: QPointF) -> int:
        if self._overlay is None or not self.features_shown or self._sign is not None:
            return 0
        painter = QPainter()
        brush = self._overlay_painter(painter)
        for mark in self._overlay.marks:
            shape = brush.shape(mark)
            if shape.boundingRect().adjusted(-5, -5, 5, 5).contains(spot):
                return mark.number
        return 0
