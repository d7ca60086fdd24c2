"""Tables of a reading: zones, features, and the conditions that the picture had to meet."""

from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QSize, Qt
from PySide6.QtGui import QColor, QFont, QIcon, QKeyEvent, QPainter, QPen, QPixmap
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QWidget

from workstation.values import Check, Feature, Form, Placed, Reading, Verdict, ZoneResult
from workstation.window.overlay import DASHES
from workstation.window.theme import DARK, SMALL_POINT_SIZE
from workstation.window.words import CAUSE, FORM

Index = QModelIndex | QPersistentModelIndex
Row = tuple[Any, ...]
_NONE = QModelIndex()


class RowsModel(QAbstractTableModel):
    """A short table of ready-made words; ``keys`` name the rows.

    Parameters
    ----------
    headings
        Heading and its explanation (tool tip) for each column.
    right
        Columns of numbers, set flush right.
    """

    def __init__(
        self, headings: Sequence[tuple[str, str]], right: Sequence[int], parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._headings = tuple(headings)
        self._right = frozenset(right)
        self._rows: list[tuple[int, Row, QIcon | None, str]] = []

    def fill(self, rows: Sequence[tuple[int, Row, QIcon | None, str]]) -> None:
        """Replace all rows: key, cells, icon of the first cell, and tool tip."""
        self.beginResetModel()
        self._rows = list(rows)
        self.endResetModel()

    def key(self, row: int) -> int:
        """Return the key of a row."""
        return self._rows[row][0]

    def row_of(self, key: int) -> int | None:
        """Return the row with this key, or None."""
        return next((row for row, entry in enumerate(self._rows) if entry[0] == key), None)

    def rowCount(self, parent: Index = _NONE) -> int:
        """Return the number of rows."""
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: Index = _NONE) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() else len(self._headings)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell's words, icon, place or tool tip."""
        _key, cells, icon, tip = self._rows[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return cells[index.column()]
        if role == Qt.ItemDataRole.DecorationRole and index.column() == 0:
            return icon
        if role == Qt.ItemDataRole.ToolTipRole:
            return tip or None
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = (
                Qt.AlignmentFlag.AlignRight if index.column() in self._right else Qt.AlignmentFlag.AlignLeft
            )
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        return None

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Return a heading, its place or its explanation."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        heading, tip = self._headings[section]
        if role == Qt.ItemDataRole.DisplayRole:
            return heading
        if role == Qt.ItemDataRole.ToolTipRole:
            return tip
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignRight if section in self._right else Qt.AlignmentFlag.AlignLeft
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        return None


class QuietTable(QTableView):
    """A table that is only read: rows are chosen whole, and the capture keys go through to the window."""

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(26)
        self.horizontalHeader().setHighlightSections(False)
        self.horizontalHeader().setSectionsClickable(False)
        self.setIconSize(QSize(26, 14))
        small = QFont(self.font())
        small.setPointSize(SMALL_POINT_SIZE)
        self.setFont(small)
        self.horizontalHeader().setFont(small)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Leave Space, Enter and Escape to the window."""
        if event.key() in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Escape):
            event.ignore()
        else:
            super().keyPressEvent(event)

    def share_width(self, column: int) -> None:
        """Give each column the width of its words, and one column what is left."""
        header = self.horizontalHeader()
        header.setMinimumSectionSize(30)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)


def zone_table(parent: QWidget | None = None) -> tuple[QuietTable, RowsModel]:
    """Return the empty table of zones and its model."""
    return _table(
        "Zones",
        (
            ("Zone", "The zone's letter, with the line that draws its outer edge"),
            ("From–to, µm", "Inner and outer diameter of the zone"),
            ("Seen", "How much of the zone's area lies inside the picture"),
            ("Scratches", "Scratches in the zone, whether or not a rule counts them"),
            ("Defects", "Defects in the zone, whether or not a rule counts them"),
            ("Rules", "Whether a rule of this zone is broken"),
        ),
        (1, 2, 3, 4),
        1,
        parent,
    )


def feature_table(parent: QWidget | None = None) -> tuple[QuietTable, RowsModel]:
    """Return the empty table of features and its model."""
    return _table(
        "Features",
        (
            ("No.", "The number beside the feature in the picture"),
            ("Zone", "The zone that the feature is judged in"),
            ("Form", "Scratch or defect, as the standard counts them"),
            (
                "Size, µm",
                "Defect: diameter of the smallest circle around it. Scratch: its width. ± standard error",
            ),
            ("Cause (a guess)", "Where it may come from; never used for the verdict"),
            ("Rule", "Whether the feature has a part in a broken rule"),
        ),
        (0, 3),
        4,
        parent,
    )


def check_table(parent: QWidget | None = None) -> tuple[QuietTable, RowsModel]:
    """Return the empty table of conditions and its model."""
    return _table(
        "Conditions of the picture",
        (
            ("Condition", "What the picture had to meet to be judged"),
            ("Measured", "The value in this picture"),
            ("Limit", "The value it must keep to"),
            ("", "Whether it is met"),
        ),
        (1, 2),
        0,
        parent,
    )


def _table(
    name: str,
    headings: Sequence[tuple[str, str]],
    right: Sequence[int],
    stretch: int,
    parent: QWidget | None,
) -> tuple[QuietTable, RowsModel]:
    table = QuietTable(name, parent)
    model = RowsModel(headings, right, table)
    table.setModel(model)
    table.share_width(stretch)
    return table, model


def fill_zones(model: RowsModel, zones: Sequence[ZoneResult]) -> None:
    """Show these zones."""
    model.fill(
        [
            (ord(zone.zone[0]), _zone_cells(zone), dash_icon(zone.zone), "\n".join(zone.broken))
            for zone in zones
        ]
    )


def fill_features(model: RowsModel, reading: Reading, verdict: Verdict) -> None:
    """Show the features of a reading: those with a part in a broken rule first, then by number."""
    placed = {entry.feature_id: entry for entry in verdict.placed}
    rank: Callable[[Feature], tuple[bool, int]] = lambda feature: (  # noqa: E731
        not (feature.id in placed and placed[feature.id].breaks),
        feature.id,
    )
    model.fill(
        [
            (feature.id, _feature_cells(feature, placed.get(feature.id)), None, _feature_tip(feature))
            for feature in sorted(reading.features, key=rank)
        ]
    )


def fill_checks(model: RowsModel, checks: Sequence[Check]) -> None:
    """Show these conditions."""
    model.fill(
        [(number, _check_cells(check), None, _check_tip(check)) for number, check in enumerate(checks)]
    )


def dash_icon(zone: str) -> QIcon:
    """Return a short piece of a zone's line."""
    picture = QPixmap(52, 28)
    picture.setDevicePixelRatio(2.0)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    pen = QPen(QColor(DARK.accent), 1.6, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap)
    dashes = DASHES.get(zone, ())
    if dashes:
        pen.setDashPattern([length * 0.6 for length in dashes])
    painter.setPen(pen)
    painter.drawLine(0, 7, 26, 7)
    painter.end()
    return QIcon(picture)


def _zone_cells(zone: ZoneResult) -> Row:
    return (
        zone.zone,
        f"{zone.inner_um:g}–{zone.outer_um:g}",
        f"{_floor_percent(zone.seen)} %",
        str(zone.scratches),
        str(zone.defects),
        "broken" if zone.broken else "kept",
    )


def _floor_percent(fraction: float) -> int:
    """Round down, so that 100 % is only said of the whole."""
    return int(fraction * 100 + 1e-6)


def _feature_cells(feature: Feature, placed: Placed | None) -> Row:
    scratch = feature.form is Form.SCRATCH
    size, error = (
        (feature.width_um, feature.width_error_um) if scratch else (feature.size_um, feature.size_error_um)
    )
    zone = placed.zone if placed is not None and placed.zone else "–"
    ruling = (
        "broken"
        if placed is not None and placed.breaks
        else "counted"
        if placed is not None and placed.counted
        else "–"
    )
    return (
        str(feature.id),
        zone,
        FORM[feature.form],
        f"{size:.2f} ± {error:.2f}",
        f"{CAUSE[feature.cause]} {feature.confidence * 100:.0f} %",
        ruling,
    )


def _feature_tip(feature: Feature) -> str:
    x, y = feature.centroid_um
    return (
        f"{CAUSE[feature.cause]}, {feature.confidence * 100:.0f} % sure. "
        f"Smallest circle {feature.size_um:.1f} µm, width {feature.width_um:.1f} µm, "
        f"length {feature.length_um:.1f} µm, contrast {feature.contrast * 100:+.0f} %, "
        f"{feature.inner_um:.1f} to {feature.outer_um:.1f} µm from the cladding's centre, "
        f"at ({x:.1f}, {y:.1f}) µm"
    )


def _check_tip(check: Check) -> str:
    return f"{check.name[:1].upper()}{check.name[1:]}. {check.advice}".strip()


def _check_cells(check: Check) -> Row:
    unit = f" {check.unit}" if check.unit else ""
    return (
        check.name,
        f"{check.value:.3g}{unit}",
        f"{check.limit:.3g}",
        "met" if check.ok else "not met",
    )
