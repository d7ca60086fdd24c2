"""The whole path with nothing stood in for: light, fit, features, verdict, ledger, list and table."""

import csv
from pathlib import Path

import pytest
from conftest import LONG_MS
from pytestqt.qtbot import QtBot

from workstation import bench
from workstation.criteria import load_criteria
from workstation.window.main_window import MainWindow
from workstation.window.words import OUTCOME

pytestmark = pytest.mark.window


def test_from_the_live_picture_to_the_list_and_the_table(
    live_window: MainWindow, qtbot: QtBot, tmp_path: Path
) -> None:
    qtbot.waitUntil(lambda: live_window.stage.live.overlay is not None, timeout=LONG_MS)
    live_window.port.setText("=PORT-01")
    live_window.capture()
    qtbot.waitUntil(lambda: live_window.model.rowCount() == 1, timeout=2 * LONG_MS)
    look = live_window.model.look(0)
    assert live_window.panel.verdict_words == OUTCOME[look.verdict.outcome]
    assert live_window.panel.feature_count == len(look.reading.features)
    ledger = live_window.desk.ledger
    assert ledger is not None
    # the stored picture, graded again, gives the same record on any path
    again = bench.grade(ledger.picture(look), load_criteria(look.verdict.criteria.id))
    assert (again.reading, again.verdict) == (look.reading, look.verdict)
    path = tmp_path / "looks.csv"
    live_window.desk.export_csv(path)
    qtbot.waitUntil(lambda: str(path) in live_window.status.said, timeout=LONG_MS)
    with path.open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["verdict"] == look.verdict.outcome.value
    assert row["port"] == "'=PORT-01"
