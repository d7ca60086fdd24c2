"""OpenCV is loaded with what it needs in the environment, and leaves nothing there that misleads Qt."""

import json
import os
import subprocess
import sys

PROGRAM = (
    "import json, os; import workstation.opencv_setup; "
    "print(json.dumps({k: v for k, v in os.environ.items() if k.startswith(('OPENCV', 'QT_QPA'))}))"
)


def environment_after_import(**before: str) -> dict[str, str]:
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("OPENCV", "QT_QPA"))}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], env={**clean, **before}, capture_output=True, text=True, check=True
    )
    return dict(json.loads(done.stdout))


def test_limits_are_set_and_qt_is_left_alone() -> None:
    after = environment_after_import()
    assert after["OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT"] == "2"
    assert after["OPENCV_VIDEOIO_MSMF_ENABLE_HW_TRANSFORMS"] == "0"
    assert "QT_QPA_PLATFORM_PLUGIN_PATH" not in after
    assert "QT_QPA_FONTDIR" not in after


def test_what_a_person_set_stays() -> None:
    after = environment_after_import(OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT="7", QT_QPA_FONTDIR="/some/fonts")
    assert after["OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT"] == "7"
    assert after["QT_QPA_FONTDIR"] == "/some/fonts"
