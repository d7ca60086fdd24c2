"""The window on a camera that isn't there: chosen, adjusted, captured from, unplugged, stalled, and back."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FAKE = HERE.parent / "fake_v4l2"
sys.path.insert(0, str(FAKE))

import run_with_fake  # noqa: E402

pytestmark = [
    pytest.mark.window,
    pytest.mark.slow,
    pytest.mark.skipif(bool(run_with_fake.why_not()), reason=run_with_fake.why_not() or "runs"),
]


def test_a_person_chooses_a_camera_and_loses_and_finds_it_again(tmp_path: Path) -> None:
    film = tmp_path / "film"
    film.mkdir()
    run_with_fake.write_film(film, (1280, 1024), run_with_fake.moving_disc((1280, 1024), 8))
    control = tmp_path / "state"
    run_with_fake.set_state(control, "ok")
    env = run_with_fake.environment(run_with_fake.build(film), control, film)
    env["PYTHONPATH"] = os.pathsep.join((env["PYTHONPATH"], str(FAKE)))
    done = subprocess.run(
        [sys.executable, "-W", "error", str(HERE / "window_with_camera.py"), str(control), str(tmp_path)],
        env=env,
        capture_output=True,
        text=True,
        timeout=200,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
