"""Every state of the window, reached through its own doors, on the simulated microscope and an own ledger."""

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import LONG_MS, AwaitDialog, OpenWindow, acknowledge, begin_session
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot
from window_stand_ins import NO_FIBRE, Grader, MovableSource, fit_in

from workstation import bench
from workstation.ledger import Ledger
from workstation.values import Look, Outcome
from workstation.window.choosers import RecordedDialog
from workstation.window.dialogs import CautionDialog, PortDialog
from workstation.window.main_window import MainWindow

pytestmark = pytest.mark.window

WORDS = {
    Outcome.PASS: "Pass",
    Outcome.FAIL: "Fail",
    Outcome.BORDERLINE: "Borderline",
    Outcome.UNREADABLE: "Unreadable",
}


@pytest.fixture(autouse=True)
def grader(monkeypatch: pytest.MonkeyPatch) -> Grader:
    """The measuring is tested in its own rooms; here its results are handed in."""
    stand_in = Grader()
    monkeypatch.setattr(bench, "grade", stand_in)
    monkeypatch.setattr(bench, "live_fit", lambda pixels, previous=None: fit_in(pixels))
    return stand_in


def capture(window: MainWindow, qtbot: QtBot, port: str) -> None:
    looks = window.model.rowCount()
    window.port.setText(port)
    window.stage.large_view.setFocus()
    qtbot.keyClick(window.stage.large_view, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: window.model.rowCount() == looks + 1, timeout=LONG_MS)


def test_no_live_picture_before_the_caution_is_acknowledged(
    open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot, tmp_path: Path
) -> None:
    window = open_window()
    begin_session(await_dialog)
    caution = await_dialog(CautionDialog)
    assert isinstance(caution, CautionDialog)
    assert window.live.feed is None
    caution.fill(how="Measured with a power meter: no light", read=False)
    assert not caution.ready
    caution.fill(how="", read=True)
    assert not caution.ready
    caution.fill(how="Measured with a power meter: no light", read=True)
    caution.acknowledge()
    qtbot.waitUntil(lambda: window.stage.live.pixels is not None, timeout=LONG_MS)
    window.close()
    with Ledger.open(tmp_path / "ledger", read_only=True) as ledger:
        (session,) = ledger.sessions()
        (event,) = ledger.events(session.id)
    assert (event.who, event.how) == ("R. Example", "Measured with a power meter: no light")
    assert session.source_dark == "Measured with a power meter: no light"


def test_declining_the_caution_leaves_the_session_without_a_live_picture(
    open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot
) -> None:
    window = open_window()
    begin_session(await_dialog)
    await_dialog(CautionDialog).reject()
    qtbot.waitUntil(lambda: window.desk.session is not None, timeout=LONG_MS)
    assert window.live.feed is None
    assert "No live picture" in window.stage.live.sign
    window.actions_by_name["start_live"].trigger()
    acknowledge(await_dialog)
    qtbot.waitUntil(lambda: window.stage.live.pixels is not None, timeout=LONG_MS)


def test_the_live_picture_carries_the_rings_of_its_own_fit(live_window: MainWindow, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: live_window.stage.live.overlay is not None, timeout=LONG_MS)
    overlay = live_window.stage.live.overlay
    assert overlay is not None
    assert overlay.fit == fit_in(live_window.stage.live.pixels)
    assert [ring.zone for ring in overlay.rings] == ["A", "B", "C", "D"]
    # IEC 61300-3-35:2015, single-mode PC: outer diameters of the zones as in the criteria file
    assert [ring.diameter_um for ring in overlay.rings] == [25, 115, 135, 250]
    qtbot.waitUntil(lambda: "Fibre found" in live_window.stage.sign_words, timeout=LONG_MS)
    qtbot.waitUntil(lambda: "blur 0.55 µm" in live_window.status.fields, timeout=LONG_MS)
    assert "1280 × 1024" in live_window.status.fields
    assert "µm/px" in live_window.status.fields


def test_a_picture_without_a_fibre_has_no_rings_and_says_so(
    live_window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench, "live_fit", lambda pixels, previous=None: NO_FIBRE)
    qtbot.waitUntil(lambda: live_window.stage.sign_words == NO_FIBRE.message, timeout=LONG_MS)
    assert live_window.stage.live.overlay is None


@pytest.mark.parametrize("outcome", list(Outcome))
def test_a_capture_is_graded_kept_and_shown(
    live_window: MainWindow, qtbot: QtBot, grader: Grader, outcome: Outcome
) -> None:
    grader.outcome = outcome
    capture(live_window, qtbot, "PORT-01")
    assert live_window.panel.verdict_words == WORDS[outcome]
    assert f"a reason for {outcome.value}" in live_window.panel.reasons_words
    assert "does not replace loss measurements" in live_window.panel.criteria_words
    assert "not checked against the published document" in live_window.panel.criteria_words
    assert live_window.model.look(0).verdict.outcome is outcome
    assert not live_window.stage.live_is_large
    assert (live_window.stage.graded.overlay is None) == (outcome is Outcome.UNREADABLE)


def test_a_feature_that_breaks_a_rule_is_marked_so(
    live_window: MainWindow, qtbot: QtBot, grader: Grader
) -> None:
    grader.outcome = Outcome.FAIL
    capture(live_window, qtbot, "PORT-01")
    overlay = live_window.stage.graded.overlay
    assert overlay is not None
    assert [(mark.number, mark.breaks) for mark in overlay.marks] == [(1, True), (2, False)]


def test_the_frame_that_is_kept_began_after_the_key(
    live_window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    frames = []
    live_window.live.captured.connect(frames.append)
    pressed = []
    original = live_window.live.capture

    def press() -> None:
        pressed.append(time.monotonic())
        original()

    monkeypatch.setattr(live_window.live, "capture", press)
    capture(live_window, qtbot, "PORT-01")
    assert frames[0].began_s >= pressed[0]


def test_a_capture_without_a_port_asks_for_it_and_the_next_number_is_proposed(
    live_window: MainWindow, qtbot: QtBot, await_dialog: AwaitDialog
) -> None:
    live_window.stage.large_view.setFocus()
    qtbot.keyClick(live_window.stage.large_view, Qt.Key.Key_Return)
    dialog = await_dialog(PortDialog)
    assert isinstance(dialog, PortDialog)
    assert dialog.proposal == "PORT-01"
    dialog.name_port("RACK2/U07/9")
    qtbot.waitUntil(lambda: live_window.model.rowCount() == 1, timeout=LONG_MS)
    assert live_window.model.look(0).port.label == "RACK2/U07/9"
    live_window.actions_by_name["next_port"].trigger()
    assert live_window.port.text() == "RACK2/U07/10"
    assert live_window.stage.live_is_large


def test_a_second_capture_of_a_port_is_its_second_look(live_window: MainWindow, qtbot: QtBot) -> None:
    for port in ("PORT-01", "PORT-02", "PORT-01"):
        capture(live_window, qtbot, port)
    looks = [live_window.model.look(row) for row in range(3)]
    assert [(look.port.label, look.number) for look in looks] == [
        ("PORT-01", 1),
        ("PORT-01", 2),
        ("PORT-02", 1),
    ]


def test_the_live_picture_goes_on_while_a_capture_is_graded(
    live_window: MainWindow, qtbot: QtBot, grader: Grader
) -> None:
    grader.gate = threading.Event()
    live_window.port.setText("PORT-01")
    live_window.capture()
    qtbot.waitUntil(lambda: live_window.desk.busy_grading, timeout=LONG_MS)
    shown: list[object] = []
    live_window.live.shown.connect(lambda frame, _fit: shown.append(frame.sequence))
    qtbot.waitUntil(lambda: len(set(shown)) >= 5, timeout=LONG_MS)
    assert live_window.desk.busy_grading
    live_window.capture()  # a second key press is not queued
    grader.gate.set()
    qtbot.waitUntil(lambda: live_window.model.rowCount() == 1, timeout=LONG_MS)
    assert not live_window.desk.busy_grading
    assert not live_window.live.waiting_for_capture


def test_a_grading_that_goes_wrong_is_said_in_words_and_the_next_one_works(
    live_window: MainWindow, qtbot: QtBot, grader: Grader
) -> None:
    grader.trouble = OSError("The disk is full.")
    live_window.port.setText("PORT-01")
    live_window.capture()
    qtbot.waitUntil(lambda: "The disk is full." in live_window.panel.reasons_words, timeout=LONG_MS)
    grader.trouble = None
    capture(live_window, qtbot, "PORT-01")
    assert live_window.panel.verdict_words == "Pass"


def test_an_unplugged_camera_says_what_happened_and_comes_back_by_itself(
    live_window: MainWindow, qtbot: QtBot
) -> None:
    source = MovableSource()
    live_window.open_source(source)
    qtbot.waitUntil(lambda: live_window.stage.live.pixels is not None, timeout=LONG_MS)
    source.pulled.set()
    qtbot.waitUntil(lambda: "Unplugged" in live_window.stage.live.sign, timeout=LONG_MS)
    assert "comes back by itself" in live_window.stage.live.sign
    live_window.port.setText("PORT-01")
    live_window.capture()
    assert not live_window.live.waiting_for_capture, "an old picture is never captured"
    assert "Nothing captured" in live_window.status.said
    source.pulled.clear()
    qtbot.waitUntil(lambda: live_window.stage.live.sign == "", timeout=LONG_MS)


def test_a_camera_that_is_not_there_says_so(
    open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot
) -> None:
    window = open_window(source="a camera that nobody has")
    begin_session(await_dialog)
    acknowledge(await_dialog)
    qtbot.waitUntil(lambda: "No camera" in window.stage.live.sign, timeout=LONG_MS)
    assert "Plug it in" in window.stage.live.sign


def test_a_recorded_session_is_reopened_with_thumbnails_and_its_looks_can_be_read(
    live_window: MainWindow, open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot, grader: Grader
) -> None:
    capture(live_window, qtbot, "PORT-01")
    grader.outcome = Outcome.FAIL
    capture(live_window, qtbot, "PORT-02")
    live_window.close()
    window = open_window(session="Cabinet 7")
    qtbot.waitUntil(lambda: window.model.rowCount() == 2, timeout=LONG_MS)
    qtbot.waitUntil(lambda: window.model.thumbnails_shown == 2, timeout=LONG_MS)
    assert window.live.feed is None, "a reopened session asks for the caution again before live view"
    window.table.selectRow(1)
    qtbot.waitUntil(lambda: window.panel.verdict_words == "Fail", timeout=LONG_MS)
    assert window.stage.graded.pixels is not None
    assert window.stage.graded.overlay is not None
    window.actions_by_name["previous_look"].trigger()
    qtbot.waitUntil(lambda: window.panel.verdict_words == "Pass", timeout=LONG_MS)


def test_a_long_session_comes_by_pages_and_a_new_look_finds_its_place(
    live_window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("workstation.window.session_list.PAGE", 2)
    for number in range(1, 6):
        capture(live_window, qtbot, f"PORT-{number:02d}")
    ledger, session = live_window.desk.ledger, live_window.desk.session
    assert ledger is not None
    assert session is not None
    asked: list[tuple[int, int]] = []

    def page(offset: int, count: int) -> tuple[Look, ...]:
        asked.append((offset, count))
        return ledger.looks(session.id, offset, count)

    live_window.model.open(page, ledger.thumbnail)
    live_window.table.show_look(ledger.looks(session.id)[-1])
    qtbot.waitUntil(lambda: live_window.table.currentIndex().row() == 4, timeout=LONG_MS)
    assert asked[:3] == [(0, 2), (2, 2), (4, 2)]
    capture(live_window, qtbot, "PORT-02")
    looks = [live_window.model.look(row) for row in range(6)]
    # the ledger's order: by port, then by number
    assert [look.port.label[-1] for look in looks] == ["1", "2", "2", "3", "4", "5"]
    assert [look.number for look in looks] == [1, 1, 2, 1, 1, 1]


def test_a_recorded_session_is_opened_from_the_menu(
    live_window: MainWindow, await_dialog: AwaitDialog, qtbot: QtBot
) -> None:
    capture(live_window, qtbot, "PORT-01")
    live_window.actions_by_name["new_session"].trigger()
    begin_session(await_dialog, name="Cabinet 8")
    acknowledge(await_dialog)
    qtbot.waitUntil(lambda: live_window.model.rowCount() == 0 and live_window.model.complete, timeout=LONG_MS)
    live_window.actions_by_name["open_session"].trigger()
    dialog = await_dialog(RecordedDialog)
    assert isinstance(dialog, RecordedDialog)
    assert dialog.names == ("Cabinet 8", "Cabinet 7")
    dialog.open_row(1)
    qtbot.waitUntil(lambda: live_window.model.rowCount() == 1, timeout=LONG_MS)


def press(window: MainWindow, words: str) -> Callable[[], None]:
    button = next(button for button in window.findChildren(QPushButton) if button.text() == words)
    return button.click


def test_the_simulated_microscope_lends_its_hands(live_window: MainWindow, qtbot: QtBot) -> None:
    source = live_window.source
    connectors = source.connector
    press(live_window, "Next connector")()
    qtbot.waitUntil(lambda: source.connector == connectors + 1, timeout=LONG_MS)
    for words in ("Dry clean", "Wet clean", "Take fibre out"):
        press(live_window, words)()
    live_window.knobs.turned.emit("focus", 12.0, None)
    qtbot.waitUntil(lambda: source.focus_um == 12.0, timeout=LONG_MS)


def test_a_session_is_exported_as_csv(live_window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    capture(live_window, qtbot, "PORT-01")
    path = tmp_path / "looks.csv"
    live_window.desk.export_csv(path)
    qtbot.waitUntil(lambda: str(path) in live_window.status.said, timeout=LONG_MS)
    assert len(path.read_text(encoding="utf-8-sig").splitlines()) == 2


def test_a_picture_file_is_graded_and_not_kept(live_window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    capture(live_window, qtbot, "PORT-01")
    ledger = live_window.desk.ledger
    assert ledger is not None
    path = ledger.picture_path(live_window.model.look(0))
    live_window.desk.grade_file(path)
    qtbot.waitUntil(lambda: "not kept" in live_window.stage.graded_title, timeout=LONG_MS)
    assert live_window.model.rowCount() == 1


def test_a_damaged_picture_file_is_said_in_words(
    live_window: MainWindow, qtbot: QtBot, tmp_path: Path
) -> None:
    path = tmp_path / "broken.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\nnothing")
    live_window.desk.grade_file(path)
    qtbot.waitUntil(lambda: "broken.png" in live_window.panel.reasons_words, timeout=LONG_MS)


def test_closing_the_window_leaves_nothing_running(live_window: MainWindow, qtbot: QtBot) -> None:
    feed = live_window.live.feed
    assert feed is not None
    live_window.close()
    assert live_window.live.feed is None
    assert live_window.desk.ledger is None
    assert feed.stop(0.0), "the feed's thread has ended"
