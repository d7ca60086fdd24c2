"""Start and end of the window's program."""

import workstation.opencv_setup  # noqa: F401  # first: what OpenCV and Qt must find in the environment

# isort: split
import gc
import signal
import sys
from types import TracebackType
from typing import TYPE_CHECKING

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from workstation.window.main_window import PROGRAM, MainWindow
from workstation.window.settings import load_settings, settings_path
from workstation.window.theme import dress

if TYPE_CHECKING:
    from workstation.window import Options


def make_window(options: "Options") -> MainWindow:
    """Make the window and let it begin; the application must exist and be dressed."""
    path = options.settings or settings_path()
    settings, complaints = load_settings(path)
    if options.source:
        settings.source = options.source
    if options.ledger is not None:
        settings.ledger_folder = str(options.ledger)
    window = MainWindow(settings, path, complaints)
    window.errands.begin(options.session)
    return window


def keep_sweeps_short() -> None:
    """Take what the start made out of the garbage collector's sight; call it once the window is made.

    A full sweep stops all of Python's threads, and so the live picture. Over the libraries' lasting objects it
    took 0.1 s; none of them is ever garbage.
    """
    gc.collect()
    gc.freeze()


def run_application(options: "Options", arguments: list[str]) -> int:
    """Make the application and the window, and stay until it is closed."""
    application = QApplication(["endface", *arguments])
    application.setApplicationName(PROGRAM)
    dress(application)
    window = make_window(options)
    keep_sweeps_short()
    for ending in (signal.SIGINT, signal.SIGTERM):
        # not at once: closed before the event loop begins, it would never be heard that the last window went
        signal.signal(ending, lambda _number, _frame: QTimer.singleShot(0, window.close))
    sys.excepthook = _TellingHook(window)
    window.show()
    status = application.exec()
    sys.excepthook = sys.__excepthook__
    return status


class _TellingHook:
    """Writes a fault of the program to the log as ever, and says on the screen that there was one."""

    def __init__(self, window: MainWindow) -> None:
        self._window = window

    def __call__(self, kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
        sys.__excepthook__(kind, fault, trace)
        self._window.status.tell(
            f"The program made a mistake ({kind.__name__}: {fault}). What was kept is safe; please "
            "report this.",
            trouble=True,
        )
