"""What the window goes through with the fake camera; run as a program, with the library preloaded.

    python window_with_camera.py CONTROL_FILE FOLDER [--pictures FOLDER]

Fails by an assertion. It exercises this program through the unmodified V4L2 backend of OpenCV, and doesn't
prove that a given camera works.
"""

import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from PySide6.QtWidgets import QApplication, QDialog
from run_with_fake import set_state

from workstation.window import Options
from workstation.window.application import make_window
from workstation.window.choosers import SourceDialog
from workstation.window.dialogs import CautionDialog, SessionDialog
from workstation.window.theme import dress


class Player:
    """Plays a person at the window."""

    def __init__(self, control: Path, folder: Path, pictures: Path | None) -> None:
        self.control, self.pictures = control, pictures
        self.application = QApplication([])
        dress(self.application)
        self.window = make_window(
            Options(source="simulator", ledger=folder / "ledger", settings=folder / "window.json")
        )
        self.window.resize(1600, 1000)
        self.window.show()

    def until(self, condition: Callable[[], object], limit_s: float = 30.0) -> None:
        ends_s = time.monotonic() + limit_s
        tick = threading.Event()
        while not condition():
            self.application.processEvents()
            tick.wait(0.005)
            said = (self.window.stage.live.sign, self.window.status.said, self.window.status.fields)
            assert time.monotonic() < ends_s, f"didn't happen within {limit_s} s; on the screen: {said}"

    def dialog(self, kind: type[QDialog]) -> QDialog:
        self.until(lambda: isinstance(self.application.activeModalWidget(), kind))
        return self.application.activeModalWidget()  # type: ignore[return-value]

    def picture(self, name: str) -> None:
        if self.pictures is not None:
            self.window.grab().save(str(self.pictures / f"{name}.png"))

    def begin(self) -> None:
        session = self.dialog(SessionDialog)
        assert isinstance(session, SessionDialog)
        session.fill(session_name="Cabinet 7", operator="R. Example", scope="Bench scope")
        session.begin()
        caution = self.dialog(CautionDialog)
        assert isinstance(caution, CautionDialog)
        caution.fill(how="Measured with a power meter: no light", read=True)
        caution.acknowledge()
        self.until(lambda: self.window.stage.live.pixels is not None)

    def choose_camera(self) -> None:
        self.window.actions_by_name["choose_source"].trigger()
        dialog = self.dialog(SourceDialog)
        assert isinstance(dialog, SourceDialog)
        self.until(lambda: "Fake microscope" in dialog.names)
        self.picture("chooser")
        dialog.choose(
            "Fake microscope",
            next(label for label in dialog.modes_of("Fake microscope") if "1280 × 1024" in label),
        )
        self.until(
            lambda: (
                "Fake microscope" in self.window.status.fields and "1280 × 1024" in self.window.status.fields
            )
        )

    def turn_a_knob(self) -> None:
        self.until(lambda: {"exposure", "gain"} <= set(self.window.knobs.keys))
        feed = self.window.live.feed
        assert feed is not None
        gain = next(control for control in feed.controls if control.key == "gain")
        wanted = gain.minimum + 5 * gain.step
        self.window.knobs.turned.emit("gain", wanted, None)
        self.until(lambda: any(c.key == "gain" and c.value == wanted for c in feed.controls))
        self.picture("knobs")

    def capture(self) -> None:
        looks = self.window.model.rowCount()
        self.window.port.setText("PORT-01")
        self.window.capture()
        self.until(lambda: self.window.model.rowCount() == looks + 1)
        assert self.window.model.look(0).source == "Fake microscope"
        self.window.stage.show_large(live=True)

    def lose_and_find(self, state: str, title: str) -> None:
        set_state(self.control, state)
        self.until(lambda: title in self.window.stage.live.sign)
        self.picture(state)
        set_state(self.control, "ok")
        self.until(lambda: self.window.stage.live.sign == "")

    def close(self) -> None:
        self.window.close()
        left = [thread.name for thread in threading.enumerate() if thread is not threading.main_thread()]
        assert not [name for name in left if not name.startswith("Dummy")], left


def main() -> None:
    control, folder = Path(sys.argv[1]), Path(sys.argv[2])
    pictures = Path(sys.argv[4]) if sys.argv[3:4] == ["--pictures"] else None
    player = Player(control, folder, pictures)
    player.begin()
    player.choose_camera()
    player.turn_a_knob()
    player.capture()
    player.lose_and_find("unplugged", "Unplugged")
    player.lose_and_find("stalled", "No new pictures")
    player.close()


if __name__ == "__main__":
    main()
