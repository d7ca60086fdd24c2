"""The real window on the fake camera, begun as a person begins it; run as a program, library preloaded.

    python -m tests.live_bench.watched_window FOLDER SECONDS SIZE RESULT [--picture FILE]

Writes what was noted into RESULT as JSON.
"""

import workstation.opencv_setup  # noqa: F401  # first, as in the program itself

# isort: split
import argparse
import json
import time
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QEventLoop, Qt, QTimer
from PySide6.QtWidgets import QApplication, QDialog

from tests.live_bench.watching import Watch
from workstation.frames import list_cameras
from workstation.window import Options
from workstation.window.application import keep_sweeps_short, make_window
from workstation.window.dialogs import CautionDialog, SessionDialog
from workstation.window.main_window import MainWindow
from workstation.window.settings import Settings, save_settings
from workstation.window.theme import dress

SETTLE_S = 3.0
MEMORY_EVERY_S = 5.0
_BEGIN_LIMIT_S = 60.0


class Bench:
    """Opens the window, settles, watches, closes."""

    def __init__(self, folder: Path, size: tuple[int, int]) -> None:
        self.watch = Watch()
        self.application = QApplication([])
        dress(self.application)
        settings = folder / "window.json"
        (camera,) = list_cameras()
        mode = next(mode for mode in camera.modes if mode.fourcc == "MJPG" and _size(mode) == size)
        save_settings(Settings(source=camera.id, source_mode=mode.label), settings)
        self.window: MainWindow = make_window(Options(ledger=folder / "ledger", settings=settings))
        keep_sweeps_short()  # as the program itself does
        self.window.show()

    def begin(self) -> None:
        """Name a session and acknowledge the caution, as a person does, and wait for rings."""
        session = self._dialog(SessionDialog)
        assert isinstance(session, SessionDialog)
        session.fill(session_name="Live bench", operator="R. Example", scope="Bench scope")
        session.begin()
        caution = self._dialog(CautionDialog)
        assert isinstance(caution, CautionDialog)
        caution.fill(how="Measured with a power meter: no light", read=True)
        caution.acknowledge()
        self._until(lambda: self.window.stage.live.overlay is not None, "rings over the live picture")

    def run(self, seconds: float, picture: Path | None) -> dict[str, object]:
        """Let the event loop run for so long, and return what was noted."""
        self._rest(SETTLE_S)
        if picture is not None:
            self.window.grab().save(str(picture))
            self._rest(1.0)
        feed = self.window.live.feed
        assert feed is not None
        memory = QTimer()
        memory.setInterval(int(MEMORY_EVERY_S * 1000))
        memory.timeout.connect(self.watch.note_memory)
        self.watch.begin(self.window.stage.live, feed)
        memory.start()
        self._rest(seconds)
        memory.stop()
        seen = self.watch.end()
        seen.screen = self.application.platformName()
        return seen.as_row()

    def close(self) -> None:
        """Close the window."""
        self.window.close()

    def _dialog(self, kind: type[QDialog]) -> QDialog:
        self._until(lambda: isinstance(self.application.activeModalWidget(), kind), kind.__name__)
        dialog = self.application.activeModalWidget()
        assert isinstance(dialog, QDialog)
        return dialog

    def _rest(self, seconds: float) -> None:
        loop, timer = QEventLoop(), QTimer()
        timer.setSingleShot(True)
        timer.setTimerType(Qt.TimerType.PreciseTimer)
        timer.timeout.connect(loop.quit)
        timer.start(round(seconds * 1000))
        loop.exec()

    def _until(self, condition: Callable[[], bool], what: str) -> None:
        ends_s = time.monotonic() + _BEGIN_LIMIT_S
        while not condition():
            if time.monotonic() > ends_s:
                said = (self.window.stage.live.sign, self.window.stage.sign_words, self.window.status.said)
                raise SystemExit(f"Waited {_BEGIN_LIMIT_S:g} s for {what} in vain. On the screen: {said}")
            self._rest(0.02)


def _size(mode: object) -> tuple[int, int]:
    return mode.width, mode.height  # type: ignore[attr-defined]


def main() -> None:
    """Run the window and write the notes."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("seconds", type=float)
    parser.add_argument("size")
    parser.add_argument("result", type=Path)
    parser.add_argument("--picture", type=Path)
    asked = parser.parse_args()
    width, height = map(int, asked.size.split("x"))
    bench = Bench(asked.folder, (width, height))
    try:
        bench.begin()
        row = bench.run(asked.seconds, asked.picture)
    finally:
        bench.close()
    asked.result.write_text(json.dumps(row), encoding="utf-8")


if __name__ == "__main__":
    main()
