"""Keys, dialogs and controls: everything is reached without a mouse, and everything has a name."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import LONG_MS, AwaitDialog, OpenWindow, acknowledge
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton, QApplication, QDialog, QTabBar, QWidget
from pytestqt.qtbot import QtBot
from window_stand_ins import Grader, fit_in

from workstation import bench
from workstation.frames import (
    Backend,
    CameraInfo,
    CameraMode,
    PictureFolder,
    SourceTrouble,
    Stream,
    VideoFile,
)
from workstation.window import sources
from workstation.window.actions import DEEDS
from workstation.window.choosers import RecordedDialog, SettingsDialog, SourceDialog
from workstation.window.dialogs import (
    CAUTION,
    CautionDialog,
    KeyTable,
    PortDialog,
    SessionDialog,
    WordsDialog,
)
from workstation.window.main_window import MainWindow

pytestmark = pytest.mark.window


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench, "grade", Grader())
    monkeypatch.setattr(bench, "live_fit", lambda pixels, previous=None: fit_in(pixels))


def reachable(top: QWidget) -> Iterator[QWidget]:
    for widget in top.findChildren(QWidget):
        inner = widget.objectName().startswith("qt_") or widget.parent().inherits("QAbstractItemView")
        if widget.isVisibleTo(top) and widget.focusPolicy() & Qt.FocusPolicy.TabFocus and not inner:
            yield widget


def unnamed(top: QWidget) -> list[str]:
    return [
        f"{type(widget).__name__} {widget.objectName()} in {type(widget.parent()).__name__}"
        for widget in reachable(top)
        if not widget.accessibleName()
        and not (isinstance(widget, QAbstractButton) and widget.text())
        and not isinstance(widget, QTabBar)
        and not widget.parent().accessibleName()
    ]


def test_every_control_of_the_window_has_a_name_and_every_button_explains_itself(
    live_window: MainWindow,
) -> None:
    assert unnamed(live_window) == []
    silent = [
        button.text()
        for button in live_window.findChildren(QAbstractButton)
        if button.text() and not button.toolTip()
    ]
    assert silent == []


@pytest.mark.parametrize(
    ("deed", "kind"),
    [
        ("new_session", SessionDialog),
        ("open_session", RecordedDialog),
        ("settings", SettingsDialog),
        ("choose_source", SourceDialog),
        ("worth", WordsDialog),
        ("caution", WordsDialog),
        ("keys", KeyTable),
        ("about", WordsDialog),
    ],
)
def test_every_dialog_opens_from_its_menu_entry_with_named_controls_and_closes_with_escape(
    live_window: MainWindow, await_dialog: AwaitDialog, qtbot: QtBot, deed: str, kind: type[QDialog]
) -> None:
    live_window.actions_by_name[deed].trigger()
    dialog = await_dialog(kind)
    assert unnamed(dialog) == []
    assert [
        b.text()
        for b in dialog.findChildren(QAbstractButton)
        if b.text() and b.isVisible() and not b.toolTip()
    ] == []
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: QApplication.activeModalWidget() is None, timeout=LONG_MS)


def test_no_two_deeds_share_a_key() -> None:
    keys = Counter(deed.keys for deed in DEEDS if deed.keys)
    assert [key for key, count in keys.items() if count > 1] == []


def captures(window: MainWindow, qtbot: QtBot, count: int) -> None:
    qtbot.waitUntil(lambda: window.model.rowCount() == count, timeout=LONG_MS)
    qtbot.waitUntil(lambda: not window.desk.busy_grading, timeout=LONG_MS)


def test_space_enter_and_the_own_key_capture_from_the_picture(live_window: MainWindow, qtbot: QtBot) -> None:
    live_window.port.setText("PORT-01")
    for count, key in enumerate((Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_F5), 1):
        view = live_window.stage.large_view
        view.setFocus()
        qtbot.keyClick(view, key)
        captures(live_window, qtbot, count)


def test_a_space_in_the_port_field_is_a_letter_and_the_own_key_captures_there_too(
    live_window: MainWindow, qtbot: QtBot
) -> None:
    live_window.actions_by_name["edit_port"].trigger()
    qtbot.keyClicks(live_window.port, "Panel 3")
    assert live_window.port.text() == "Panel 3"
    assert not live_window.live.waiting_for_capture
    qtbot.keyClick(live_window.port, Qt.Key.Key_F5)
    captures(live_window, qtbot, 1)
    assert live_window.model.look(0).port.label == "Panel 3"


def test_letters_in_the_port_field_are_not_taken_for_shortcuts(live_window: MainWindow, qtbot: QtBot) -> None:
    live_window.actions_by_name["edit_port"].trigger()
    qtbot.keyClicks(live_window.port, "LNRFS+-01")
    assert live_window.port.text() == "LNRFS+-01"
    assert live_window.stage.live_is_large


def test_enter_in_the_port_field_gives_the_keys_back_to_the_picture(
    live_window: MainWindow, qtbot: QtBot
) -> None:
    live_window.actions_by_name["edit_port"].trigger()
    qtbot.keyClicks(live_window.port, "PORT-07")
    qtbot.keyClick(live_window.port, Qt.Key.Key_Return)
    assert live_window.stage.live.hasFocus()
    assert live_window.model.rowCount() == 0
    assert not live_window.live.waiting_for_capture


def test_the_capture_keys_work_after_a_row_of_the_list_was_chosen(
    live_window: MainWindow, qtbot: QtBot
) -> None:
    live_window.port.setText("PORT-01")
    live_window.capture()
    captures(live_window, qtbot, 1)
    live_window.table.setFocus()
    qtbot.keyClick(live_window.table, Qt.Key.Key_Space)
    captures(live_window, qtbot, 2)


def test_another_capture_key_can_be_chosen_and_is_remembered(
    live_window: MainWindow, await_dialog: AwaitDialog, open_window: OpenWindow, qtbot: QtBot
) -> None:
    live_window.actions_by_name["settings"].trigger()
    dialog = await_dialog(SettingsDialog)
    assert isinstance(dialog, SettingsDialog)
    dialog.fill(capture_key="F9", show_graded=False)
    dialog.save()
    live_window.port.setText("PORT-01")
    qtbot.keyClick(live_window.stage.live, Qt.Key.Key_F9)
    captures(live_window, qtbot, 1)
    assert live_window.stage.live_is_large
    assert "F9" in live_window.capture_button.toolTip()
    live_window.close()
    again = open_window()
    dialog2 = await_dialog(SessionDialog)
    assert isinstance(dialog2, SessionDialog)
    assert (dialog2.operator, dialog2.session_name) == ("R. Example", "Cabinet 7")
    dialog2.reject()
    assert again.settings.capture_key == "F9"


def test_switches_change_both_pictures_and_are_remembered(live_window: MainWindow) -> None:
    for name in ("rings", "features", "smooth"):
        live_window.actions_by_name[name].trigger()
    for view in (live_window.stage.live, live_window.stage.graded):
        assert [view.rings_shown, view.features_shown, view.smooth] == [False] * 3
    kept = live_window.settings
    assert [kept.rings_shown, kept.features_shown, kept.smooth] == [False] * 3


def test_a_click_on_the_small_picture_makes_it_large(live_window: MainWindow, qtbot: QtBot) -> None:
    qtbot.mouseClick(live_window.stage.graded, Qt.MouseButton.LeftButton)
    assert not live_window.stage.live_is_large
    live_window.actions_by_name["swap"].trigger()
    assert live_window.stage.live_is_large


def test_the_table_and_the_picture_choose_the_same_feature(live_window: MainWindow, qtbot: QtBot) -> None:
    live_window.port.setText("PORT-01")
    live_window.capture()
    captures(live_window, qtbot, 1)
    picked: list[int] = []
    live_window.panel.feature_picked.connect(picked.append)
    live_window.stage.graded.feature_picked.emit(2)
    assert picked == [2]
    assert live_window.panel.feature_count == 2


def test_a_second_window_on_the_same_ledger_says_why_it_cannot_write(
    live_window: MainWindow, open_window: OpenWindow, qtbot: QtBot
) -> None:
    second = open_window()
    qtbot.waitUntil(lambda: "Could not open the ledger" in second.stage.live.sign, timeout=LONG_MS)
    assert "Could not open the ledger" in second.status.said


def test_a_session_that_is_not_begun_leaves_a_sign_that_says_how(
    open_window: OpenWindow, await_dialog: AwaitDialog
) -> None:
    window = open_window()
    await_dialog(SessionDialog).reject()
    assert "Ctrl+N" in window.stage.live.sign
    window.capture()
    assert "Begin or open a session" in window.status.said


def test_a_session_needs_a_name_and_an_operator(open_window: OpenWindow, await_dialog: AwaitDialog) -> None:
    open_window()
    dialog = await_dialog(SessionDialog)
    assert isinstance(dialog, SessionDialog)
    dialog.fill(session_name=" ", operator="", scope="")
    dialog.begin()
    assert dialog.isVisible()
    assert dialog.missing == ("session", "operator")
    dialog.reject()


def test_the_source_chooser_lists_cameras_with_their_modes(
    live_window: MainWindow, await_dialog: AwaitDialog, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    modes = (CameraMode("YUYV", 1280, 1024, (30.0,)), CameraMode("MJPG", 2592, 1944, (15.0,)))
    camera = CameraInfo("an-id", "Bench camera", "/dev/video7", Backend.V4L2, modes)
    monkeypatch.setattr(sources, "list_cameras", lambda: (camera,))
    live_window.actions_by_name["choose_source"].trigger()
    dialog = await_dialog(SourceDialog)
    assert isinstance(dialog, SourceDialog)
    qtbot.waitUntil(lambda: "Bench camera" in dialog.names, timeout=LONG_MS)
    chosen: list[tuple[str, str]] = []
    dialog.chosen.disconnect()
    dialog.chosen.connect(lambda spec, mode: chosen.append((spec, mode)))
    dialog.choose("Bench camera", modes[1].label)
    assert chosen == [("an-id", modes[1].label)]


def test_a_camera_that_nobody_listed_can_still_be_waited_for() -> None:
    assert sources.make_source("an id that is not plugged in").name == "an id that is not plugged in"


def test_words_for_a_source_become_the_right_source(tmp_path: Path) -> None:
    film = tmp_path / "film.mkv"
    film.write_bytes(b"")
    assert isinstance(sources.make_source(str(tmp_path)), PictureFolder)
    assert isinstance(sources.make_source(str(film)), VideoFile)
    assert isinstance(sources.make_source("http://localhost:1/stream"), Stream)
    with pytest.raises(SourceTrouble, match="no file or folder"):
        sources.make_source(str(tmp_path / "gone.mkv"))


def test_the_caution_names_what_must_never_be_done() -> None:
    words = " ".join(CAUTION)
    for needed in (
        "visual fault locators",
        "Infrared",
        "power meter",
        "local rules",
        "Never look into a fibre",
    ):
        assert needed in words


def test_port_dialog_does_not_capture_without_a_label(
    live_window: MainWindow, await_dialog: AwaitDialog
) -> None:
    live_window.capture()
    dialog = await_dialog(PortDialog)
    assert isinstance(dialog, PortDialog)
    dialog.name_port("   ")
    assert not live_window.live.waiting_for_capture
    dialog.reject()


def test_a_reopened_session_asks_for_the_caution_before_live_view(
    live_window: MainWindow, open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot
) -> None:
    live_window.close()
    window = open_window(session="Cabinet 7")
    qtbot.waitUntil(lambda: window.desk.session is not None, timeout=LONG_MS)
    window.actions_by_name["start_live"].trigger()
    caution = await_dialog(CautionDialog)
    assert isinstance(caution, CautionDialog)
    assert caution.how == "Measured with a power meter: no light"
    assert not caution.ready
    acknowledge(await_dialog)
    qtbot.waitUntil(lambda: window.stage.live.pixels is not None, timeout=LONG_MS)


def test_a_session_of_an_unknown_name_is_begun_by_asking(
    open_window: OpenWindow, await_dialog: AwaitDialog
) -> None:
    open_window(session="Cabinet 99")
    dialog = await_dialog(SessionDialog)
    assert isinstance(dialog, SessionDialog)
    assert dialog.session_name == "Cabinet 99"
    dialog.reject()
