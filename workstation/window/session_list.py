"""The looks of a session as a table that fetches its rows by pages and its thumbnails when they are seen.

Nothing is read from the disk on the window's thread: pages and thumbnails come from workers and are filled
in.
"""

from bisect import bisect_left
from collections import OrderedDict
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QItemSelection, QSize, Qt, Signal
from PySide6.QtGui import QIcon, QImage, QPixmap, QResizeEvent
from PySide6.QtWidgets import QHeaderView, QWidget

from workstation.values import Look
from workstation.window.jobs import Jobs
from workstation.window.shapes import outcome_icon
from workstation.window.tables import _NONE, Index, QuietTable
from workstation.window.words import OUTCOME, local_time, look_title

PAGE = 200
KEPT_THUMBNAILS = 600
THUMBNAIL = QSize(72, 60)
ROOM_FOR_NUMBERS = 350
_HEADINGS = (
    ("No.", "Place of the port in the session"),
    ("Picture", "The picture that was captured"),
    ("Port", "The port's ID; under it which look at the port, and when it was captured (local time)"),
    ("Verdict", "What the criteria said"),
)

FetchPage = Callable[[int, int], Sequence[Look]]
FindThumbnail = Callable[[Look], Path]


class SessionModel(QAbstractTableModel):
    """Looks by the order of their ports, then by number.

    Signals ``trouble`` with a sentence when a page could not be read, and ``page_came`` after each page.
    """

    trouble = Signal(str)
    page_came = Signal()

    def __init__(self, jobs: Jobs, thumbnails: Jobs, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._jobs = jobs
        self._thumbnail_jobs = thumbnails
        self._fetch: FetchPage | None = None
        self._find: FindThumbnail | None = None
        self._looks: list[Look] = []
        self._rows: dict[int, int] = {}
        self._more = False
        self._fetching = False
        self._opened = 0
        self._thumbnails: OrderedDict[int, QIcon | None] = OrderedDict()
        self._icons = {outcome: outcome_icon(outcome) for outcome in OUTCOME}

    @property
    def complete(self) -> bool:
        """Whether every row was fetched."""
        return not self._more and not self._fetching

    @property
    def thumbnails_shown(self) -> int:
        """How many thumbnails have been loaded and are kept."""
        return sum(picture is not None for picture in self._thumbnails.values())

    def open(self, fetch: FetchPage | None, find: FindThumbnail | None) -> None:
        """Show another session: how to get a page (offset, count), and the file of a look's thumbnail."""
        self.beginResetModel()
        self._opened += 1
        self._fetch, self._find = fetch, find
        self._looks.clear()
        self._rows.clear()
        self._thumbnails.clear()
        self._more, self._fetching = fetch is not None, False
        self.endResetModel()
        self.fetchMore()

    def add(self, look: Look) -> None:
        """Add a look that was just kept at its place; one beyond the fetched pages comes with its page."""
        if look.id in self._rows or self._fetching:
            return
        row = bisect_left(self._looks, _place(look), key=_place)
        if row == len(self._looks) and self._more:
            return
        self.beginInsertRows(_NONE, row, row)
        self._looks.insert(row, look)
        self._count_rows(row)
        self.endInsertRows()

    def look(self, row: int) -> Look:
        """Return the look of a row."""
        return self._looks[row]

    def row_of(self, look: Look) -> int | None:
        """Return the row of a look, or None."""
        return self._rows.get(look.id)

    def rowCount(self, parent: Index = _NONE) -> int:
        """Return the number of rows fetched."""
        return 0 if parent.isValid() else len(self._looks)

    def columnCount(self, parent: Index = _NONE) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() else len(_HEADINGS)

    def canFetchMore(self, parent: Index = _NONE) -> bool:
        """Whether older pages wait."""
        return not parent.isValid() and self._more and not self._fetching

    def fetchMore(self, _parent: Index = _NONE) -> None:
        """Ask a worker for the next page."""
        fetch, opened = self._fetch, self._opened
        if fetch is None or self._fetching or not self._more:
            return
        self._fetching = True
        offset = len(self._looks)

        def done(page: Sequence[Look]) -> None:
            if opened != self._opened:
                return
            self._fetching = False
            self._more = len(page) == PAGE
            self._insert(page)
            self.page_came.emit()

        def failed(trouble: BaseException) -> None:
            if opened == self._opened:
                self._fetching = self._more = False
                self.trouble.emit(str(trouble))

        self._jobs.start(lambda: fetch(offset, PAGE), done, failed)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell's words, icon or tool tip."""
        look = self._looks[index.row()]
        column = index.column()
        if role == Qt.ItemDataRole.DisplayRole:
            port = f"{look.port.label}\nlook {look.number}, {local_time(look.taken, '%H:%M')}"
            return (str(look.port.position + 1), None, port, OUTCOME[look.verdict.outcome])[column]
        if role == Qt.ItemDataRole.DecorationRole:
            if column == 1:
                return self._thumbnail(look)
            return self._icons[look.verdict.outcome] if column == 3 else None
        if role == Qt.ItemDataRole.ToolTipRole:
            when = local_time(look.taken, "%Y-%m-%d %H:%M:%S")
            return f"{look_title(look)}: {OUTCOME[look.verdict.outcome]}\n{when}"
        if role == Qt.ItemDataRole.AccessibleTextRole and column == 1:
            return f"Picture of {look_title(look)}"
        return None

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Return a heading or its explanation."""
        if orientation is not Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return _HEADINGS[section][0]
        if role == Qt.ItemDataRole.ToolTipRole:
            return _HEADINGS[section][1]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        return None

    def _insert(self, looks: Sequence[Look]) -> None:
        fresh = [look for look in looks if look.id not in self._rows]
        if not fresh:
            return
        first = len(self._looks)
        self.beginInsertRows(_NONE, first, first + len(fresh) - 1)
        self._looks.extend(fresh)
        self._count_rows(first)
        self.endInsertRows()

    def _count_rows(self, first: int) -> None:
        for row in range(first, len(self._looks)):
            self._rows[self._looks[row].id] = row

    def _thumbnail(self, look: Look) -> QIcon | None:
        if look.id in self._thumbnails:
            self._thumbnails.move_to_end(look.id)
            return self._thumbnails[look.id]
        find, opened = self._find, self._opened
        if find is None:
            return None
        self._remember(look.id, None)

        def done(image: QImage) -> None:
            row = self._rows.get(look.id)
            if opened == self._opened and row is not None and not image.isNull():
                self._remember(look.id, _untinted(QPixmap.fromImage(image)))
                at = self.index(row, 1)
                self.dataChanged.emit(at, at, [Qt.ItemDataRole.DecorationRole])

        def failed(trouble: BaseException) -> None:
            self.trouble.emit(f"The thumbnail of {look_title(look)} could not be read: {trouble}")

        self._thumbnail_jobs.start(lambda: _small(find(look)), done, failed)
        return None

    def _remember(self, look_id: int, picture: QIcon | None) -> None:
        self._thumbnails[look_id] = picture
        self._thumbnails.move_to_end(look_id)
        while len(self._thumbnails) > KEPT_THUMBNAILS:
            self._thumbnails.popitem(last=False)


def _untinted(picture: QPixmap) -> QIcon:
    """Return an icon that looks the same in a chosen row: a tint would change what the picture shows."""
    icon = QIcon(picture)
    icon.addPixmap(picture, QIcon.Mode.Selected)
    return icon


def _place(look: Look) -> tuple[int, int]:
    """Return what the ledger orders a session's looks by."""
    return look.port.position, look.number


def _small(path: Path) -> QImage:
    image = QImage(str(path))
    if image.isNull():
        return image
    return image.scaled(
        THUMBNAIL, Qt.AspectRatioMode.KeepAspectRatio, Qt.TransformationMode.SmoothTransformation
    )


class SessionTable(QuietTable):
    """Shows a session's looks; signals ``look_chosen`` when a person chooses one."""

    look_chosen = Signal(object)

    def __init__(self, model: SessionModel, parent: QWidget | None = None) -> None:
        super().__init__("Looks of this session", parent)
        self._model = model
        self._silent = False
        self._waiting: Look | None = None
        self.setModel(model)
        model.page_came.connect(self._page_came)
        self.setIconSize(THUMBNAIL)
        self.verticalHeader().setDefaultSectionSize(THUMBNAIL.height() + 8)
        header = self.horizontalHeader()
        header.setMinimumSectionSize(40)
        for column, width in ((0, 36), (1, THUMBNAIL.width() + 10), (3, 126)):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.Fixed)
            header.resizeSection(column, width)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self.selectionModel().selectionChanged.connect(self._chosen)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave out the number where there is no room for it."""
        self.setColumnHidden(0, self.width() < ROOM_FOR_NUMBERS)
        super().resizeEvent(event)

    def show_look(self, look: Look) -> None:
        """Mark a look's row without signalling it, and bring it into view, once its page has come."""
        row = self._model.row_of(look)
        self._waiting = look if row is None else None
        if row is None:
            self._model.fetchMore()
            return
        self._silent = True
        self.selectRow(row)
        self._silent = False
        self.scrollTo(self._model.index(row, 0))

    def _page_came(self) -> None:
        if self._waiting is not None:
            self.show_look(self._waiting)

    def _chosen(self, chosen: QItemSelection, _before: QItemSelection) -> None:
        rows = [index.row() for index in chosen.indexes()]
        if rows and not self._silent:
            self.look_chosen.emit(self._model.look(rows[0]))
