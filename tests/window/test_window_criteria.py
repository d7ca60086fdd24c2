"""Criteria in the window: those that ship, a person's own, and those that are no longer at hand."""

from pathlib import Path

import pytest
from conftest import LONG_MS, AwaitDialog, OpenWindow, acknowledge
from pytestqt.qtbot import QtBot
from window_stand_ins import Grader, fit_in

from workstation import bench
from workstation.criteria import DEFAULT_ID, load_criteria
from workstation.paths import resources
from workstation.values import Outcome
from workstation.window.dialogs import CautionDialog, SessionDialog
from workstation.window.main_window import MainWindow

pytestmark = pytest.mark.window
OWN_ID = "our-own-limits"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench, "grade", Grader(Outcome.FAIL))
    monkeypatch.setattr(bench, "live_fit", lambda pixels, previous=None: fit_in(pixels))


@pytest.fixture
def own_file(tmp_path: Path) -> Path:
    """The default table under another name."""
    text = (resources() / "criteria" / f"{DEFAULT_ID}.yaml").read_text(encoding="utf-8")
    path = tmp_path / "own.yaml"
    path.write_text(text.replace(DEFAULT_ID, OWN_ID), encoding="utf-8")
    assert load_criteria(path).id == OWN_ID
    return path


def begin_with(await_dialog: AwaitDialog, path: Path) -> None:
    dialog = await_dialog(SessionDialog)
    assert isinstance(dialog, SessionDialog)
    dialog.fill(session_name="Cabinet 7", operator="R. Example", scope="")
    dialog.use_own_criteria(str(path))
    dialog.begin()
    acknowledge(await_dialog)


def test_a_session_is_begun_and_reopened_with_criteria_of_ones_own(
    open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot, own_file: Path
) -> None:
    window = open_window()
    begin_with(await_dialog, own_file)
    qtbot.waitUntil(lambda: window.desk.session is not None, timeout=LONG_MS)
    assert window.desk.session is not None
    assert window.desk.session.criteria_id == OWN_ID
    window.close()
    again = open_window(session="Cabinet 7")
    qtbot.waitUntil(lambda: again.desk.criteria is not None, timeout=LONG_MS)
    assert again.desk.criteria is not None
    assert again.desk.criteria.id == OWN_ID


def test_a_session_whose_criteria_are_gone_can_be_read_and_nothing_is_graded_by_others(
    open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot, own_file: Path
) -> None:
    window = open_window()
    begin_with(await_dialog, own_file)
    qtbot.waitUntil(lambda: window.stage.live.pixels is not None, timeout=LONG_MS)
    window.port.setText("PORT-01")
    window.capture()
    qtbot.waitUntil(lambda: window.model.rowCount() == 1, timeout=LONG_MS)
    window.close()
    own_file.unlink()
    again = open_window(session="Cabinet 7")
    qtbot.waitUntil(lambda: again.model.rowCount() == 1, timeout=LONG_MS)
    assert "nothing can be captured" in again.status.said
    assert again.desk.criteria is None
    again.table.selectRow(0)
    qtbot.waitUntil(lambda: again.panel.verdict_words == "Fail", timeout=LONG_MS)
    again.actions_by_name["start_live"].trigger()
    acknowledge(await_dialog)
    qtbot.waitUntil(lambda: again.stage.live.pixels is not None, timeout=LONG_MS)
    again.port.setText("PORT-02")
    again.capture()
    qtbot.waitUntil(lambda: "criteria can be read" in again.status.said, timeout=LONG_MS)
    assert again.model.rowCount() == 1


def test_a_broken_criteria_file_is_said_with_its_line(
    open_window: OpenWindow, await_dialog: AwaitDialog, qtbot: QtBot, own_file: Path
) -> None:
    own_file.write_text(own_file.read_text(encoding="utf-8").replace("zones:", "zoness:"), encoding="utf-8")
    window = open_window()
    begin_with(await_dialog, own_file)
    qtbot.waitUntil(lambda: "own.yaml, line" in window.stage.live.sign, timeout=LONG_MS)
    assert window.desk.session is None


def test_what_a_verdict_rests_on_is_written_beside_it(live_window: MainWindow, qtbot: QtBot) -> None:
    live_window.port.setText("PORT-01")
    live_window.capture()
    qtbot.waitUntil(lambda: live_window.model.rowCount() == 1, timeout=LONG_MS)
    words = live_window.panel.basis_words
    assert "IEC 61300-3-35:2015" in words
    assert "not in the published standard" in words
    assert "could have shown a dark particle of 1.1 µm and a scratch of 0.7 µm" in words


def test_the_caution_is_asked_for_once_a_session_and_again_in_the_next(
    live_window: MainWindow, await_dialog: AwaitDialog, qtbot: QtBot
) -> None:
    live_window.actions_by_name["stop_live"].trigger()
    assert "No live picture" in live_window.stage.live.sign
    live_window.actions_by_name["start_live"].trigger()
    qtbot.waitUntil(lambda: live_window.stage.live.pixels is not None, timeout=LONG_MS)
    live_window.actions_by_name["new_session"].trigger()
    dialog = await_dialog(SessionDialog)
    assert isinstance(dialog, SessionDialog)
    dialog.fill(session_name="Cabinet 8", operator="R. Example", scope="")
    dialog.begin()
    caution = await_dialog(CautionDialog)
    assert isinstance(caution, CautionDialog)
    assert not caution.ready
    caution.reject()
    qtbot.waitUntil(lambda: "Cabinet 8" in live_window.windowTitle(), timeout=LONG_MS)
    assert live_window.live.feed is None
