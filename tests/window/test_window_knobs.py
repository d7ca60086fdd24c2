"""Knobs and hands of a source."""

import threading

import pytest
from conftest import LONG_MS
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QSlider
from pytestqt.qtbot import QtBot
from window_stand_ins import fit_in

from workstation import bench
from workstation.frames import Control
from workstation.simulator.live import SimulatedMicroscope
from workstation.window.knobs import Knob, Knobs
from workstation.window.main_window import MainWindow

pytestmark = pytest.mark.window
EXPOSURE = Control("exposure", "Exposure", 8.0, 1.0, 33.0, 0.5, "ms", auto=False)
GAIN = Control("gain", "Gain", 3.0, 0.0, 100.0, 1.0)


@pytest.fixture
def knobs(qtbot: QtBot) -> Knobs:
    knobs = Knobs()
    qtbot.addWidget(knobs)
    knobs.show_controls((EXPOSURE, GAIN))
    knobs.show()
    return knobs


def test_a_knob_is_turned_by_keys_within_its_range(knobs: Knobs, qtbot: QtBot) -> None:
    turned: list[tuple[object, ...]] = []
    knobs.turned.connect(lambda *what: turned.append(what))
    slider = next(s for s in knobs.findChildren(QSlider) if s.accessibleName() == "Exposure")
    qtbot.keyClick(slider, Qt.Key.Key_Right)
    assert turned == [("exposure", 8.5, None)]
    qtbot.keyClick(slider, Qt.Key.Key_End)
    assert turned[-1] == ("exposure", 33.0, None)
    qtbot.keyClick(slider, Qt.Key.Key_Home)
    assert turned[-1] == ("exposure", 1.0, None)


def test_what_the_device_sets_by_itself_cannot_be_turned_until_it_is_switched(
    knobs: Knobs, qtbot: QtBot
) -> None:
    turned: list[tuple[object, ...]] = []
    knobs.turned.connect(lambda *what: turned.append(what))
    (box,) = knobs.findChildren(QCheckBox)
    box.click()
    assert turned == [("exposure", None, True)]
    knobs.show_controls((Control("exposure", "Exposure", 12.0, 1.0, 33.0, 0.5, "ms", auto=True), GAIN))
    knob = next(knob for knob in knobs.findChildren(Knob) if knob.control.key == "exposure")
    (slider,) = knob.findChildren(QSlider)
    assert not slider.isEnabled()
    assert turned == [("exposure", None, True)], "what the device reports is not sent back to it"


def test_other_controls_replace_those_that_were_shown(knobs: Knobs) -> None:
    knobs.show_controls((GAIN,))
    assert knobs.keys == ("gain",)
    knobs.show_controls(())
    assert knobs.keys == ()
    assert knobs.isHidden()


def test_of_many_turns_of_the_focus_the_last_one_counts(
    live_window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench, "live_fit", lambda pixels, previous=None: fit_in(pixels))
    source = live_window.source
    assert isinstance(source, SimulatedMicroscope)
    gate = threading.Event()
    live_window.errands.lend_hand(lambda: gate.wait(20))
    for value in range(1, 30):
        live_window.knobs.turned.emit("focus", value / 10, None)
    gate.set()
    qtbot.waitUntil(lambda: source.focus_um == 2.9, timeout=LONG_MS)
