"""Rings and features, drawn over a picture.

Enters: a fit, zones and features, all in micrometres from the cladding's centre. Leaves: lines on the screen.
The rings share one hue and are told apart by dash pattern and zone letter. A feature with a part in a broken
rule has a heavy outline, a hatch and a bold number; one that is allowed has a thin outline and a small
number.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QPainter, QPen, QPolygonF

from workstation.values import Fit, Look, Reading, Verdict
from workstation.window.theme import Theme

CLADDING_UM = 125.0  # ITU-T G.652 and IEC 60793-2-50: cladding diameter
DASHES: dict[str, tuple[float, ...]] = {
    "A": (),
    "B": (9.0, 4.0),
    "C": (1.5, 3.0),
    "D": (10.0, 3.5, 1.5, 3.5),
}
_LETTER_ROOM = 20.0
_LETTER_AT_DEG = {"A": -45.0, "B": -66.0, "C": -38.0, "D": -52.0}


@dataclass(frozen=True, slots=True)
class Ring:
    """The outer edge of a zone: its letter and its diameter in micrometres."""

    zone: str
    diameter_um: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A feature to draw: number, outline (x, y) in micrometres, whether it has a part in a broken rule."""

    number: int
    outline_um: tuple[tuple[float, float], ...]
    breaks: bool


@dataclass(frozen=True, slots=True)
class Overlay:
    """Everything drawn over one picture."""

    fit: Fit
    rings: tuple[Ring, ...]
    marks: tuple[Mark, ...] = ()


def overlay_of(reading: Reading, verdict: Verdict, rings: Sequence[Ring] = ()) -> Overlay | None:
    """Return what to draw over a graded picture, or None where there is no fit.

    ``rings`` serve where the verdict has no zones because the picture couldn't be judged.
    """
    if not isinstance(reading.fit, Fit):
        return None
    own = tuple(Ring(zone.zone, zone.outer_um) for zone in verdict.zones)
    breaking = {placed.feature_id for placed in verdict.placed if placed.breaks}
    marks = tuple(
        Mark(feature.id, feature.outline_um, feature.id in breaking) for feature in reading.features
    )
    return Overlay(reading.fit, own or tuple(rings), marks)


def overlay_of_look(look: Look, rings: Sequence[Ring] = ()) -> Overlay | None:
    """Return what to draw over a kept look."""
    return overlay_of(look.reading, look.verdict, rings)


class OverlayPainter:
    """Paints one overlay with one placement of the picture.

    Parameters
    ----------
    painter
        Open on the widget.
    overlay
        What to draw.
    origin
        Where the centre of the picture's top-left pixel lies on the widget.
    zoom
        Widget pixels for a pixel of the picture.
    theme
        Colours.
    plates
        Whether letters and numbers are written; a small picture has no room for them.
    """

    def __init__(
        self,
        painter: QPainter,
        overlay: Overlay,
        origin: QPointF,
        zoom: float,
        theme: Theme,
        *,
        plates: bool = True,
    ) -> None:
        self._plates = plates
        self._painter = painter
        self._overlay = overlay
        self._origin = origin
        self._zoom = zoom
        self._accent = QColor(theme.accent)
        self._on_accent = QColor(theme.on_accent)
        self._text = QColor(theme.text)
        self._halo = QColor(theme.halo)
        self._halo.setAlpha(140)

    def paint_rings(self) -> None:
        """Paint the core and the cladding as found, and the zones' edges with their letters.

        The painter must be open on a clear layer and not on the picture: the dark lines below the dashes replace
        what is there. Qt blends translucent lines by handing small pieces to other threads, at six times the cost
        of this.
        """
        fit = self._overlay.fit
        centre = self._place(*fit.centre_px)
        circles = [(ring, self._radius(ring)) for ring in self._overlay.rings]
        self._painter.setBrush(Qt.BrushStyle.NoBrush)
        self._painter.setCompositionMode(QPainter.CompositionMode.CompositionMode_Source)
        # a dark line throughout below the dashes, so that they stand out on a bright ferrule too
        self._painter.setPen(QPen(self._halo, 3.2))
        for _, radius in circles:
            self._painter.drawEllipse(centre, radius, radius)
        self._painter.setCompositionMode(QPainter.CompositionMode.CompositionMode_SourceOver)
        self._ellipse(fit.centre_px, fit.cladding_diameter_px, fit.axis_ratio, fit.axis_angle_rad)
        if fit.core is not None:
            self._ellipse(fit.core.centre_px, fit.core.diameter_um / fit.um_per_px, 1.0, 0.0)
        for ring, radius in circles:
            self._dashes(centre, radius, DASHES.get(ring.zone, (6.0, 6.0)))
            angle = math.radians(_LETTER_AT_DEG.get(ring.zone, -30.0))
            spot = centre + QPointF(radius * math.cos(angle), radius * math.sin(angle))
            self._plate(spot, ring.zone, bold=True, filled=False)

    def room_of_rings(self) -> QRectF:
        """Return the place on the widget that the rings and their letters take up."""
        fit = self._overlay.fit
        cladding = fit.cladding_diameter_px / 2 * max(fit.axis_ratio, 1 / fit.axis_ratio) * self._zoom
        reach = max([cladding, *(self._radius(ring) for ring in self._overlay.rings)]) + _LETTER_ROOM
        centre = self._place(*fit.centre_px)
        return QRectF(centre.x() - reach, centre.y() - reach, 2 * reach, 2 * reach)

    def paint_marks(self, chosen: int | None) -> None:
        """Paint the features; the chosen one stands out."""
        for mark in sorted(self._overlay.marks, key=lambda mark: (mark.breaks, mark.number == chosen)):
            shape = self.shape(mark)
            if shape.isEmpty():
                continue
            picked = mark.number == chosen
            width = (2.6 if mark.breaks else 1.2) + (1.4 if picked else 0.0)
            self._painter.setBrush(Qt.BrushStyle.NoBrush)
            self._painter.setPen(QPen(self._halo, width + 2.0))
            self._painter.drawPolygon(shape)
            if mark.breaks:
                hatch = QColor(self._accent)
                hatch.setAlpha(150)
                self._painter.setBrush(QBrush(hatch, Qt.BrushStyle.BDiagPattern))
            self._painter.setPen(QPen(self._accent if mark.breaks or picked else self._text, width))
            self._painter.drawPolygon(shape)
            box = shape.boundingRect()
            self._plate(
                box.topRight() + QPointF(9, -7), str(mark.number), bold=mark.breaks, filled=mark.breaks
            )

    def shape(self, mark: Mark) -> QPolygonF:
        """Return a feature's outline on the widget."""
        return QPolygonF([self._place(*self._overlay.fit.to_px(x, y)) for x, y in mark.outline_um])

    def _place(self, x_px: float, y_px: float) -> QPointF:
        return self._origin + QPointF(x_px * self._zoom, y_px * self._zoom)

    def _radius(self, ring: Ring) -> float:
        return ring.diameter_um / 2.0 / self._overlay.fit.um_per_px * self._zoom

    def _dashes(self, centre: QPointF, radius: float, dashes: tuple[float, ...]) -> None:
        pen = QPen(self._accent, 1.8, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap)
        if dashes:
            pen.setDashPattern([length * 0.9 for length in dashes])
        self._painter.setBrush(Qt.BrushStyle.NoBrush)
        self._painter.setPen(pen)
        self._painter.drawEllipse(centre, radius, radius)

    def _ellipse(
        self, centre_px: tuple[float, float], diameter_px: float, ratio: float, angle_rad: float
    ) -> None:
        faint = QColor(self._accent)
        faint.setAlpha(150)
        long = diameter_px / 2.0 * math.sqrt(ratio) * self._zoom
        short = diameter_px / 2.0 / math.sqrt(ratio) * self._zoom
        self._painter.save()
        self._painter.translate(self._place(*centre_px))
        self._painter.rotate(math.degrees(angle_rad))
        self._painter.setBrush(Qt.BrushStyle.NoBrush)
        self._painter.setPen(QPen(faint, 0.8))
        self._painter.drawEllipse(QPointF(0, 0), long, short)
        self._painter.restore()

    def _plate(self, middle: QPointF, text: str, *, bold: bool, filled: bool) -> None:
        """Paint a short text on a small plate, so that it can be read on any picture."""
        if not self._plates:
            return
        font = QFont(self._painter.font())
        font.setBold(bold)
        font.setPixelSize(14 if bold else 12)
        self._painter.setFont(font)
        metrics = self._painter.fontMetrics()
        box = QRectF(0, 0, max(16.0, metrics.horizontalAdvance(text) + 7.0), metrics.height() + 1.0)
        box.moveCenter(middle)
        ground = QColor(self._accent if filled else self._halo)
        ground.setAlpha(235 if filled else 165)
        self._painter.setPen(Qt.PenStyle.NoPen)
        self._painter.setBrush(ground)
        self._painter.drawRoundedRect(box, 3, 3)
        self._painter.setPen(self._on_accent if filled else (self._accent if bold else self._text))
        self._painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
