"""Windows for the tests, always closed, and a look at what they leave behind."""

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

if sys.platform == "linux" and "DISPLAY" not in os.environ and "WAYLAND_DISPLAY" not in os.environ:
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtWidgets import QApplication, QDialog
from pytestqt.qtbot import QtBot

from workstation.window import Options
from workstation.window.application import make_window
from workstation.window.dialogs import CautionDialog, SessionDialog
from workstation.window.main_window import MainWindow
from workstation.window.theme import dress

LONG_MS = 30_000

OpenWindow = Callable[..., MainWindow]
AwaitDialog = Callable[[type[QDialog]], QDialog]


@pytest.fixture(autouse=True)
def no_widget_is_left_behind(qapp: QApplication) -> Iterator[None]:
    before = set(qapp.topLevelWidgets())
    yield
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    left = [
        widget
        for widget in qapp.topLevelWidgets()
        # a tool tip may stand where the pointer happens to be; Qt takes it away by itself
        if widget not in before and widget.isVisible() and widget.windowType() is not Qt.WindowType.ToolTip
    ]
    assert not left, f"widgets that the test left on the screen: {left}"


@pytest.fixture
def await_dialog(qtbot: QtBot) -> AwaitDialog:
    """Wait until a dialog of a class stands in front, and return it."""

    def wait(kind: type[QDialog]) -> QDialog:
        qtbot.waitUntil(lambda: isinstance(QApplication.activeModalWidget(), kind), timeout=LONG_MS)
        dialog = QApplication.activeModalWidget()
        assert isinstance(dialog, kind)
        return dialog

    return wait


@pytest.fixture
def open_window(qapp: QApplication, qtbot: QtBot, tmp_path: Path) -> Iterator[OpenWindow]:
    """Open windows on ledgers and settings below the test's own folder."""
    dress(qapp)
    windows: list[MainWindow] = []

    def make(source: str = "simulator", session: str = "", folder: str = "ledger") -> MainWindow:
        window = make_window(
            Options(
                source=source, ledger=tmp_path / folder, session=session, settings=tmp_path / "window.json"
            )
        )
        windows.append(window)
        qtbot.addWidget(window)
        window.show()
        qtbot.waitExposed(window)
        return window

    yield make
    for window in windows:
        window.close()


@pytest.fixture
def live_window(open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot) -> MainWindow:
    """A window with a session, the caution acknowledged, and the simulated microscope running."""
    window = open_window()
    begin_session(await_dialog)
    acknowledge(await_dialog)
    qtbot.waitUntil(lambda: window.stage.live.pixels is not None, timeout=LONG_MS)
    qtbot.waitUntil(window.isActiveWindow, timeout=LONG_MS)
    return window


def begin_session(await_dialog: AwaitDialog, name: str = "Cabinet 7", operator: str = "R. Example") -> None:
    """Fill in the session dialog and accept it."""
    dialog = await_dialog(SessionDialog)
    assert isinstance(dialog, SessionDialog)
    dialog.fill(session_name=name, operator=operator, scope="Bench scope")
    dialog.begin()


def acknowledge(await_dialog: AwaitDialog, how: str = "Measured with a power meter: no light") -> None:
    """Acknowledge the caution."""
    dialog = await_dialog(CautionDialog)
    assert isinstance(dialog, CautionDialog)
    dialog.fill(how=how, read=True)
    dialog.acknowledge()
