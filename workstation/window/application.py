"""Start and end of the window's program."""

import workstation.opencv_setup  # noqa: F401  # first: what OpenCV and Qt must find in the environment

# isort: split
from typing import TYPE_CHECKING

from PySide6.QtWidgets import QApplication

from workstation.window.main_window import MainWindow
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


def run_application(options: "Options", arguments: list[str]) -> int:
    """Make the application and the window, and stay until it is closed."""
    application = QApplication(["endface", *arguments])
    application.setApplicationName("End-face workstation")
    dress(application)
    window = make_window(options)
    window.show()
    return application.exec()
