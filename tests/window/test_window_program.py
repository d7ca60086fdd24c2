"""The window as a program: started, left running, ended from outside."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.window


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals")
@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGINT])
def test_the_program_ends_cleanly_when_it_is_asked_to(tmp_path: Path, ending: signal.Signals) -> None:
    ledger, settings = tmp_path / "ledger", tmp_path / "window.json"
    code = """
import sys
from pathlib import Path
from workstation.window import Options, run
from workstation.window.main_window import MainWindow
show = MainWindow.show
MainWindow.show = lambda window: (show(window), print("shown", flush=True))
sys.exit(run(Options(source="simulator", ledger=Path(sys.argv[1]), settings=Path(sys.argv[2]))))
"""
    running = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", code, str(ledger), str(settings)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert running.stdout is not None
    assert running.stdout.readline() == "shown\n"
    running.send_signal(ending)
    _out, said = running.communicate(timeout=60)
    assert running.returncode == 0, said
    assert "Traceback" not in said
    assert settings.is_file(), "the window's place is remembered"
