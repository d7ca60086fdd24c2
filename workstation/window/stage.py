"""The large place in the middle and the small one beside the list, and the two pictures that change places.

One shows the live picture, the other the picture of the look that is being read. The bar above the large
picture always has the same height, so that no sign moves the picture.
"""

from PySide6.QtCore import QObject, Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from workstation.window.picture_view import PictureView

BAR_HEIGHT = 54
SMALL_HEIGHT = 230


class Stage(QObject):
    """Two picture views and their two places.

    Attributes
    ----------
    large, small
        The places, for the window to arrange.
    live, graded
        The views.
    """

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.live = PictureView("Live picture", parent)
        self.graded = PictureView("Graded picture", parent)
        self.large = QWidget(parent)
        self.small = QWidget(parent)
        self._place = QLabel(self.large)
        self._place.setObjectName("place")
        self._sign = QLabel(self.large)
        self._sign.setObjectName("sign")
        self._sign.setWordWrap(True)
        self._sign.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self._sign.setAccessibleName("What the live picture shows")
        self._sign.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        bar = QFrame(self.large)
        bar.setObjectName("bar")
        bar.setFixedHeight(BAR_HEIGHT)
        row = QHBoxLayout(bar)
        row.setContentsMargins(4, 2, 4, 2)
        row.setSpacing(18)
        row.addWidget(self._place)
        row.addWidget(self._sign, 1)
        self._large_column = QVBoxLayout(self.large)
        self._large_column.setContentsMargins(0, 0, 0, 0)
        self._large_column.setSpacing(0)
        self._large_column.addWidget(bar)
        self._caption = QLabel(self.small)
        self._caption.setObjectName("caption")
        self._small_column = QVBoxLayout(self.small)
        self._small_column.setContentsMargins(0, 0, 0, 0)
        self._small_column.setSpacing(4)
        self._small_column.addWidget(self._caption)
        self._graded_title = "no picture graded yet"
        self._live_sign = ""
        self._lacking = False
        self._live_is_large = True
        self._arrange()
        self.small.setFixedHeight(SMALL_HEIGHT)
        for view in (self.live, self.graded):
            view.clicked.connect(self._bring_forward)

    @property
    def live_is_large(self) -> bool:
        """Whether the live picture has the large place."""
        return self._live_is_large

    @property
    def large_view(self) -> PictureView:
        """The view in the large place."""
        return self.live if self._live_is_large else self.graded

    @property
    def sign_words(self) -> str:
        """The words above the large picture."""
        return self._sign.text()

    @property
    def graded_title(self) -> str:
        """The name of the picture that is being read."""
        return self._graded_title

    def show_large(self, *, live: bool) -> None:
        """Give one of the pictures the large place, and the other the small one."""
        if live != self._live_is_large:
            self._live_is_large = live
            self._arrange()

    def swap(self) -> None:
        """Let the pictures change places."""
        self.show_large(live=not self._live_is_large)

    def name_graded(self, title: str) -> None:
        """Name the picture that is being read."""
        self._graded_title = title
        self._name()

    def say_live(self, words: str, *, lacking: bool = False) -> None:
        """Say what the live picture shows; the words stand above it while it has the large place.

        ``lacking`` puts them on a plate: there is no trustworthy fit.
        """
        self._live_sign = words
        self._lacking = lacking
        self._name()

    def _arrange(self) -> None:
        large, small = (self.live, self.graded) if self._live_is_large else (self.graded, self.live)
        focused = self.live.hasFocus() or self.graded.hasFocus()
        self._large_column.addWidget(large, 1)
        self._small_column.addWidget(small, 1)
        for view in (large, small):
            view.setVisible(True)
            view.fit_to_window()
        small.setToolTip("Give this picture the large place (L)")
        large.setToolTip("")
        large.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        small.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        if focused:
            large.setFocus()
        self._name()

    def _name(self) -> None:
        graded = self._graded_title
        self._place.setText("Live" if self._live_is_large else graded)
        self._caption.setText(graded[:1].upper() + graded[1:] if self._live_is_large else "Live")
        self._sign.setText(self._live_sign if self._live_is_large else "")
        kind = "lack" if self._lacking and self._live_is_large else "sign"
        if kind != self._sign.objectName():
            self._sign.setObjectName(kind)
            self._sign.style().polish(self._sign)

    def _bring_forward(self) -> None:
        if self.sender() is not self.large_view:
            self.swap()
