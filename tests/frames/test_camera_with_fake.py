"""The camera path, through the unmodified V4L2 backend of OpenCV, with a camera that isn't there.

Each scenario runs in a process of its own, into which the fake is preloaded. It exercises this program's code
and doesn't prove that a given camera works.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FAKE = HERE.parent / "fake_v4l2"
sys.path.insert(0, str(FAKE))

import run_with_fake  # noqa: E402
from scenarios import SCENARIOS  # noqa: E402

pytestmark = pytest.mark.skipif(bool(run_with_fake.why_not()), reason=run_with_fake.why_not() or "runs")


@pytest.fixture(scope="session")
def fake_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fake_v4l2")
    for size in ((640, 480), (1280, 1024)):
        run_with_fake.write_film(folder, size, run_with_fake.moving_disc(size, 16))
    return run_with_fake.build(folder)


@pytest.mark.parametrize("scenario", [scenario.__name__ for scenario in SCENARIOS])
def test_a_camera(scenario: str, fake_library: Path, tmp_path: Path) -> None:
    control = tmp_path / "state"
    run_with_fake.set_state(control, "ok")
    env = run_with_fake.environment(fake_library, control, fake_library.parent)
    env["PYTHONPATH"] = os.pathsep.join((env["PYTHONPATH"], str(HERE)))
    done = subprocess.run(
        [sys.executable, "-W", "error", str(FAKE / "scenarios.py"), scenario, str(control)],
        env=env,
        capture_output=True,
        text=True,
        timeout=90,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_launcher_runs_a_command_with_the_camera_present() -> None:
    command = "from workstation.frames import list_cameras; print([c.name for c in list_cameras()])"
    done = subprocess.run(
        [
            sys.executable,
            str(FAKE / "run_with_fake.py"),
            "--size",
            "640x480",
            "--",
            sys.executable,
            "-c",
            command,
        ],
        env={**os.environ, "PYTHONPATH": str(HERE.parents[1])},
        capture_output=True,
        text=True,
        timeout=90,
        check=False,
    )
    assert done.stdout.strip() == "['Fake microscope']", done.stderr
    assert "state" in done.stderr
